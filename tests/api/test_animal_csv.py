"""Animals in and out as CSV: good rows are taken, bad ones told with their line, and no cell can run anywhere."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as some

from api.domain.animal import Limb, LimbState, Sex
from api.domain.errors import InputError
from api.domain.husbandry import EventKind
from api.services.animal_csv import (
    COLUMNS,
    EVENT_COLUMNS,
    RUNS,
    _plain,
    _safe,
    read_animals,
    write_animals,
    write_events,
)
from api.services.animal_import import Imported, import_animals
from tests.support.colony import entries, log, settle
from tests.support.rooms import TestRoom, room

HEAD = (
    "name,species,sex,sex_how,origin,hatched,arrived,tank,carapace_mm,mass_g,measured,weighed,last_molt,lost_limbs,"
    "regrowing_limbs,note\n"
)
WHOLE = HEAD + (
    "Ada,Procambarus virginalis,female,by pleopods,own stock,2026-03-01,2026-05-02,t1,21.5,2.75,2026-09-01,,2026-08-20,"
    'left_chela right_leg_3,left_antenna,"shy, ""blue"""\n'
    "Bo,,,,,,,,,,,,,,,\n"
)


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks."""
    with room(tmp_path) as one:
        yield one


def take(lab: TestRoom, text: str) -> Imported:
    """Read a file in."""
    return import_animals(lab.service.animals, read_animals(text, "UTC"), "Aki", lab.now_ms)


def told(result: Imported) -> list[tuple[int, str]]:
    """Lines and reasons of rows that were not taken."""
    return [(fault.line, fault.reason) for fault in result.faults]


def test_everything_goes_in_and_comes_out_again(lab: TestRoom) -> None:
    """What is written is what was read, and reading it in once more changes nothing."""
    assert take(lab, WHOLE).entered == 2
    ada = lab.service.lives.get(1)
    assert (ada.animal.sex, ada.tank, ada.carapace_mm, ada.animal.note) == (Sex.FEMALE, "t1", 21.5, 'shy, "blue"')
    assert dict(ada.marks) == {
        Limb.LEFT_CHELA: LimbState.LOST,
        Limb.RIGHT_LEG_3: LimbState.LOST,
        Limb.LEFT_ANTENNA: LimbState.REGROWING,
    }
    written = write_animals(lab.service.lives.all().values(), "UTC")
    rows, before = list(csv.DictReader(io.StringIO(written))), list(csv.DictReader(io.StringIO(WHOLE)))
    assert rows[0] == before[0]
    assert rows[1] == before[1] | {"sex": "unknown"}
    count = len(entries(lab))
    again = take(lab, written)
    assert (again.entered, again.changed, again.same, again.faults, len(entries(lab))) == (0, 0, 2, (), count)


def test_a_weighing_after_a_measuring_loses_neither(lab: TestRoom) -> None:
    """Length and mass of two days come out with their own days, and go in again as they were."""
    ada = settle(lab, "Ada", days_ago=9)
    log(lab, EventKind.MEASURED, ada, days_ago=5, carapace_mm=22.0)
    log(lab, EventKind.MEASURED, ada, days_ago=2, mass_g=5.0)
    written = write_animals(lab.service.lives.all().values(), "UTC")
    row = next(csv.DictReader(io.StringIO(written)))
    assert (row["carapace_mm"], row["mass_g"]) == ("22", "5")
    assert (date.fromisoformat(row["weighed"]) - date.fromisoformat(row["measured"])).days == 3
    assert take(lab, written).same == 1
    assert take(lab, written.replace("Ada", "Bo")).entered == 1
    first, second = (lab.service.lives.get(number).sizes for number in (ada, ada + 1))
    assert [(one.carapace_mm, one.mass_g) for one in first] == [(one.carapace_mm, one.mass_g) for one in second]
    assert take(lab, "name,carapace_mm\nAda,23\n").changed == 1
    assert lab.service.lives.get(ada).carapace_mm == 23.0


def test_good_rows_are_taken_and_bad_ones_told(lab: TestRoom) -> None:
    """With the line in the file, also behind a cell of two lines and empty lines."""
    settle(lab, "Old")
    result = take(
        lab,
        "\ufeffTank;Name;Carapace mm;colour;note;hatched\r\n"
        't1;Ada;12,5;blue;"two\nlines";\r\n'
        "\r\n"
        "t9;Bo;;;;\r\n"
        "t1;Cy;large;;;\r\n"
        "t1;;;;;\r\n"
        "t1;Di;;;;1.2.2026\r\n"
        "t1;old;13;;;\r\n"
        "t1;Ed;;;;;too;many\r\n"
        "t2;Flo;14;;;2026-02-01\r\n",
    )
    assert told(result) == [
        (5, "there is no tank 't9'"),
        (6, "carapace_mm: 'large' is not a number such as 31.5, without its unit"),
        (7, "an animal needs a name or tag by which people tell it from the others"),
        (8, "hatched: '1.2.2026' is not a day such as 2026-03-01"),
        (10, "8 cells under 6 columns; is a comma inside a text unquoted?"),
    ]
    assert (result.entered, result.changed) == (2, 1)
    assert result.remarks[0].reason == "not used: colour"
    names = [(life.animal.name, life.carapace_mm) for life in lab.service.lives.all().values()]
    assert names == [("Old", 13.0), ("Ada", 12.5), ("Flo", 14.0)]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("Ada,both,", "sex 'both' is not female, male or unknown"),
        ("Ada,f,third_leg", "'third_leg' is no limb; use left_chela"),
        ('Ada,f,"left_chela', "cannot be read from here on"),
        ("Ada\0,f,", "cannot be"),
    ],
)
def test_rows_that_cannot_be_used(lab: TestRoom, row: str, words: str) -> None:
    """Told at their line; the row before is taken."""
    result = take(lab, f"name,sex,lost_limbs\nGil,,\n{row}\n")
    assert [fault.line for fault in result.faults] == [3]
    assert words in result.faults[0].reason
    assert result.entered == 1


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("\n\n", "empty"),
        ("name\nA\ud800", "half a"),
        ("tag,sex\nAda,f\n", "no column 'name'"),
        ("name,sex,sex\n", "stands twice"),
    ],
)
def test_files_that_are_none(text: str, words: str) -> None:
    """Told as a whole."""
    with pytest.raises(InputError, match=words):
        read_animals(text, "UTC")


def test_a_known_name_is_described_anew(lab: TestRoom) -> None:
    """Only the columns the file has; an unusual size is told and not taken; the dead stay where they died."""
    ada = settle(lab, "Ada", days_ago=9, carapace_mm=30.0)
    bo = settle(lab, "Bo", days_ago=9)
    log(lab, EventKind.DIED, bo, days_ago=1)
    result = take(lab, "name,origin,carapace_mm,tank\nADA,pond,20,t1\nBo,pond,,t2\n")
    assert [line for line, _ in told(result)] == [2]
    assert "seldom shrinks" in told(result)[0][1]
    assert (lab.service.lives.get(ada).animal.origin, lab.service.lives.get(ada).carapace_mm) == ("", 30.0)
    life = lab.service.lives.get(bo)
    assert (life.animal.origin, life.animal.species, life.stays[-1].tank) == ("pond", "Procambarus virginalis", "t1")


@given(some.text(some.characters(exclude_categories=["Cs"])))
def test_no_cell_runs_and_every_cell_comes_back(text: str) -> None:
    """A spreadsheet runs what begins with = + - @ or a tab; the mark in front goes away when it is read in."""
    written = _safe(text)
    assert not written.startswith(RUNS)
    assert _plain(written) == (text if text.startswith((*RUNS, "'")) else text.strip(" "))


def test_names_that_would_run(lab: TestRoom) -> None:
    """Through the whole file and back."""
    names = ["=1+1", "@cmd", "-2", "+3", "'4", "'=5", "a=b"]
    for name in names:
        settle(lab, name)
    written = write_animals(lab.service.lives.all().values(), "UTC")
    rows = list(csv.reader(io.StringIO(written)))[1:]
    assert [row[0] for row in rows] == ["'=1+1", "'@cmd", "'-2", "'+3", "''4", "''=5", "a=b"]
    assert take(lab, written).same == len(names)


def test_events_as_csv(lab: TestRoom) -> None:
    """One row an event, corrected and withdrawn ones too, with who and when; times in UTC."""
    ada = settle(lab, "Ada", days_ago=2)
    first = log(lab, EventKind.MOLT, ada, days_ago=1, note="=HYPERLINK(1)")
    second = log(lab, EventKind.MOLT, ada, replaces=first)
    lab.service.events.withdraw(second, "Noor", lab.now_ms).result(10)
    rows = list(csv.DictReader(io.StringIO(write_events(entries(lab), {ada: "Ada"}))))
    assert tuple(rows[0]) == EVENT_COLUMNS
    assert [(row["kind"], row["animal_name"], row["replaces"], row["withdrawn_by"]) for row in rows] == [
        ("moved", "Ada", "", ""),
        ("molt", "Ada", "", ""),
        ("molt", "Ada", str(first), "Noor"),
    ]
    assert (rows[1]["time"], rows[1]["note"]) == ("2026-09-20T14:13:20+00:00", "'=HYPERLINK(1)")


def test_columns_are_explained() -> None:
    """Each has a name and a word of what it holds."""
    assert len({name for name, _ in COLUMNS}) == len(COLUMNS)
    assert all(words for _, words in COLUMNS)
