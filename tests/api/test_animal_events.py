"""The log: what is refused, what is asked about, how a correction and a withdrawal leave everything on record."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from api.domain.animal import Animal, Limb, Sex
from api.domain.errors import InputError, NotFound
from api.domain.husbandry import EventKind, Husbandry, KitValue, PremoltSign
from api.domain.quantity import Quantity
from api.services.animals import Newcomer
from api.services.event_checks import Doubtful
from tests.support.colony import DAY_MS, HOUR_MS, entries, log, settle
from tests.support.rooms import TestRoom, room

K = EventKind


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks; Ada (1) has lived in t1 for 100 days, Bo (2) and Cy (3) in t2."""
    with room(tmp_path) as one:
        settle(one, "Ada", "t1", days_ago=100)
        settle(one, "Bo", "t2", days_ago=100, sex=Sex.MALE)
        settle(one, "Cy", "t2", days_ago=100)
        yield one


def kept(lab: TestRoom) -> int:
    """How many events there are besides the three arrivals."""
    return len(entries(lab)) - 3


@pytest.mark.parametrize(
    ("kind", "said", "words"),
    [
        (K.MOLT, {"animal": 9}, "no animal 9"),
        (K.MOLT, {"animal": 1, "tank": "t9"}, "no tank 't9'"),
        (K.MOLT, {"animal": 1, "tank": "t2"}, "no animal is in two tanks"),
        (K.MOLT, {"tank": "t2"}, "2 animals are in this tank"),
        (K.MOLT, {}, "say which animal"),
        (K.MOLT, {"animal": 1, "days_ago": -1}, "not come yet"),
        (K.MOLT, {"animal": 1, "days_ago": 20_000}, "before the year 2000"),
        (K.MOVED, {"animal": 1}, "say which tank"),
        (K.FED, {}, "say which tank or animal"),
        (K.WATER_CHANGED, {"animal": 1, "percent": 200.0}, "200 % is outside"),
        (K.TESTED, {"tank": "t1"}, "at least one value"),
        (K.PREMOLT, {"animal": 1}, "which sign"),
        (K.LIMB_LOST, {"animal": 1}, "which limb"),
        (K.MEASURED, {"animal": 1}, "carapace length"),
        (K.MEASURED, {"animal": 1, "carapace_mm": 0.0}, "0 mm is outside"),
        (K.NOTE, {"tank": "t1", "note": " "}, "says nothing"),
        (K.NOTE, {"tank": "t1", "note": "x" * 2001}, "too many"),
        (K.NOTE, {"tank": "t1", "note": "a\0b"}, "cannot be written"),
    ],
)
def test_what_cannot_be_meant(lab: TestRoom, kind: EventKind, said: dict[str, Any], words: str) -> None:
    """Each is refused in words, and nothing is kept."""
    with pytest.raises(InputError, match=words):
        log(lab, kind, **said)
    assert kept(lab) == 0


def test_no_molt_before_hatching_nor_after_death(lab: TestRoom) -> None:
    """Both name the date in the way; a note may come after death."""
    young = Newcomer(Animal("Dot", hatched=date(2026, 9, 1)), "t1")
    dot = lab.service.animals.enter(young, "Aki", lab.now_ms).result(10)
    with pytest.raises(InputError, match="hatched on 2026-09-01"):
        log(lab, K.MOLT, dot, days_ago=60)
    log(lab, K.DIED, 1, days_ago=2)
    with pytest.raises(InputError, match="Ada died at 2026-09-19"):
        log(lab, K.MOLT, 1, days_ago=1)
    with pytest.raises(InputError, match="already noted as dead"):
        log(lab, K.DIED, 1, days_ago=1)
    log(lab, K.NOTE, 1, note="kept in alcohol")
    log(lab, K.MOLT, 2, days_ago=1)
    with pytest.raises(InputError, match="cannot have died then: molt seen"):
        log(lab, K.DIED, 2, days_ago=3)


def test_two_molts_in_a_day_are_one(lab: TestRoom) -> None:
    """Also when an exuvia is found whose molt may be the one that was seen; three days apart it is asked about."""
    log(lab, K.MOLT, 1, days_ago=40)
    with pytest.raises(InputError, match="twice in a day"):
        log(lab, K.MOLT, 1, days_ago=39.5)
    with pytest.raises(InputError, match="twice in a day"):
        log(lab, K.EXUVIA, 1, days_ago=38, since_ms=lab.now_ms - 41 * DAY_MS, confirm=True)
    with pytest.raises(Doubtful, match="less than three days"):
        log(lab, K.MOLT, 1, days_ago=38)
    log(lab, K.MOLT, 1, days_ago=38, confirm=True)
    log(lab, K.EXUVIA, 1, days_ago=20, since_ms=lab.now_ms - 22 * DAY_MS)
    assert [round((lab.now_ms - one.first_ms) / DAY_MS) for one in lab.service.lives.get(1).molts] == [40, 38, 22]


@pytest.mark.parametrize(
    ("before", "kind", "said", "words"),
    [
        ((K.MEASURED, {"carapace_mm": 30.0}), K.MEASURED, {"carapace_mm": 29.0}, "seldom shrinks"),
        ((K.MEASURED, {"carapace_mm": 30.0}), K.MEASURED, {"carapace_mm": 50.0}, "without a molt between"),
        ((K.EGGS_SEEN, {}), K.MOLT, {}, "berried animals do not molt"),
        ((K.LIMB_LOST, {"limb": Limb.LEFT_LEG_2}), K.LIMB_LOST, {"limb": Limb.LEFT_LEG_2}, "lost already"),
        ((K.FED, {}), K.LIMB_REGROWN, {"limb": Limb.LEFT_LEG_2}, "was not noted as lost"),
    ],
)
def test_what_is_asked_about(
    lab: TestRoom, before: tuple[EventKind, dict[str, Any]], kind: EventKind, said: dict[str, Any], words: str
) -> None:
    """Unusual things are kept only when they are confirmed, and then they are."""
    log(lab, before[0], 1, days_ago=20, **before[1])
    with pytest.raises(Doubtful, match=words):
        log(lab, kind, 1, **said)
    assert kept(lab) == 1
    log(lab, kind, 1, confirm=True, **said)
    assert kept(lab) == 2


def test_what_is_usual_is_not_asked_about(lab: TestRoom) -> None:
    """A caliper's error, growth over a molt, eggs of a female; those of a male are asked about."""
    log(lab, K.MEASURED, 1, days_ago=20, carapace_mm=30.0)
    log(lab, K.MEASURED, 1, days_ago=19, carapace_mm=29.9)
    log(lab, K.MOLT, 1, days_ago=10)
    log(lab, K.MEASURED, 1, days_ago=9, carapace_mm=33.0)
    log(lab, K.EGGS_SEEN, 1, what="dark brown")
    with pytest.raises(Doubtful, match="Bo is noted as male"):
        log(lab, K.EGGS_SEEN, 2)
    log(lab, K.MATED, 2)


def test_a_correction_stands_in_for_what_it_names(lab: TestRoom) -> None:
    """The first word stays on record; a correction taken back leaves the first word in force again."""
    first = log(lab, K.MOLT, 1, days_ago=3)
    second = log(lab, K.MOLT, 1, days_ago=4, replaces=first)
    assert [one.time_ms for one in lab.service.lives.get(1).molts] == [lab.now_ms - 4 * DAY_MS]
    rows = {one.id: one for one in entries(lab, animal=1)}
    assert (rows[first].replaced_by, rows[first].standing, rows[second].replaces) == (second, False, first)
    with pytest.raises(InputError, match=f"corrected by event {second}"):
        log(lab, K.MOLT, 1, days_ago=2, replaces=first)
    with pytest.raises(InputError, match="change that one"):
        lab.service.events.withdraw(first, "Noor", lab.now_ms).result(10)
    lab.service.events.withdraw(second, "Noor", lab.now_ms).result(10)
    assert [one.time_ms for one in lab.service.lives.get(1).molts] == [lab.now_ms - 3 * DAY_MS]
    gone = lab.service.events.entry(second)
    assert (gone.withdrawn_by, gone.withdrawn_ms, gone.entered_by) == ("Noor", lab.now_ms, "Aki")
    with pytest.raises(InputError, match="withdrawn by Noor already"):
        lab.service.events.withdraw(second, "Noor", lab.now_ms).result(10)
    with pytest.raises(NotFound):
        lab.service.events.withdraw(99, "Noor", lab.now_ms).result(10)


def test_a_correction_may_name_another_animal(lab: TestRoom) -> None:
    """It was Cy and not Bo that molted."""
    wrong = log(lab, K.MOLT, 2)
    log(lab, K.MOLT, 3, replaces=wrong)
    assert (lab.service.lives.get(2).molts, len(lab.service.lives.get(3).molts)) == ((), 1)


def test_two_taps_are_one_event(lab: TestRoom) -> None:
    """The same from the same person within moments; two people, or another kind, are two."""
    with ThreadPoolExecutor(4) as taps:
        numbers = set(taps.map(lambda _: log(lab, K.MOLT, 1), range(4)))
    assert len(numbers) == 1
    assert log(lab, K.FED, tank="t1") == log(lab, K.FED, tank="t1")
    assert log(lab, K.FED, tank="t1", what="pea") != log(lab, K.FED, tank="t1")
    lab.now_ms += HOUR_MS
    log(lab, K.FED, tank="t1")
    assert kept(lab) == 4


def test_a_tank_of_one_says_whose_it_is(lab: TestRoom) -> None:
    """Without naming the animal; in a tank of two an exuvia may be nobody's; feeding is the tank's."""
    log(lab, K.MOLT, tank="t1", days_ago=30)
    log(lab, K.EXUVIA, tank="t2", since_ms=lab.now_ms - DAY_MS)
    log(lab, K.FED, tank="t1")
    log(lab, K.NOTE, 1, note="calm")
    said = [(one.event.animal, one.event.tank) for one in entries(lab)][3:]
    assert said == [(1, "t1"), (None, "t2"), (None, "t1"), (1, "t1")]


def test_a_move_changes_the_tank_of_what_follows(lab: TestRoom) -> None:
    """And nothing of what went before; two places at one moment are refused."""
    log(lab, K.MOVED, 1, tank="t2", days_ago=10)
    log(lab, K.PREMOLT, 1, days_ago=5, signs=(PremoltSign.SEAM_GAP,))
    log(lab, K.PREMOLT, 1, days_ago=15, signs=(PremoltSign.HIDING,))
    with pytest.raises(InputError, match="two tanks"):
        log(lab, K.MOVED, 1, tank="t1", days_ago=10)
    assert [one.event.tank for one in entries(lab, animal=1)] == ["t1", "t1", "t2", "t2"]


def test_test_kits_are_read_in_their_own_units() -> None:
    """Degrees of hardness are kept as mg/L CaCO3 (1 dH = 17.848 mg/L, DIN 38409-6) with what was read."""
    from api.web.animal_bodies import KitValueIn

    one = KitValueIn(quantity=Quantity.HARDNESS, value=10.0, unit="dH").tested()
    assert (round(one.value, 1), one.said, one.unit) == (178.5, 10.0, "dH")
    for quantity, value, unit in ((Quantity.PH, 15.0, "pH"), (Quantity.NITRITE, -1.0, "mg/L N")):
        with pytest.raises(InputError, match="no amount in water"):
            KitValueIn(quantity=quantity, value=value, unit=unit).tested()
    with pytest.raises(InputError, match="not a test-kit value"):
        KitValue(Quantity.TEMPERATURE, 20.0, 20.0, "Cel")


def test_events_need_a_person(lab: TestRoom) -> None:
    """Who entered it is kept, so a name there must be."""
    with pytest.raises(InputError, match="give a name"):
        lab.service.events.enter(Husbandry(K.FED, lab.now_ms, "t1"), "  ", lab.now_ms)
    with pytest.raises(InputError, match="give a name"):
        lab.service.events.withdraw(1, "", lab.now_ms)
