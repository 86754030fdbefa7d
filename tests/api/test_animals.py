"""Animals on record: what is known of each follows from its events, and no earlier word is lost."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from api.domain.animal import Animal, Limb, LimbState, Sex
from api.domain.errors import InputError, NotFound
from api.domain.husbandry import EventKind
from api.domain.life import Stage, Stay
from api.services.animals import Newcomer, picture_type, remarks
from api.services.entries import animal_of
from tests.support.colony import DAY_MS, entries, log, settle
from tests.support.rooms import TestRoom, room

K = EventKind
PNG = b"\x89PNG\r\n\x1a\n" + b"\0" * 20


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks."""
    with room(tmp_path) as one:
        yield one


def test_a_life_adds_up_from_events(lab: TestRoom) -> None:
    """Moves make stays, measurements sizes, limbs their state, and the last molt its stage."""
    ada = settle(lab, "Ada", days_ago=30, carapace_mm=20.0, limbs={Limb.LEFT_CHELA: LimbState.LOST})
    log(lab, K.MOVED, ada, tank="t2", days_ago=20)
    log(lab, K.MOLT, ada, days_ago=6)
    log(lab, K.LIMB_REGROWING, ada, limb=Limb.LEFT_CHELA, days_ago=6)
    log(lab, K.MEASURED, ada, carapace_mm=22.5, mass_g=3.1, days_ago=1)
    now = lab.service.animals.animal(ada, lab.now_ms)
    life = now.life
    assert life.stays == (
        Stay("t1", lab.now_ms - 30 * DAY_MS, lab.now_ms - 20 * DAY_MS),
        Stay("t2", lab.now_ms - 20 * DAY_MS),
    )
    assert (life.tank, life.tank_at(lab.now_ms - 25 * DAY_MS), life.tank_at(0)) == ("t2", "t1", None)
    assert [one.carapace_mm for one in life.sizes] == [20.0, 22.5]
    assert life.marks == ((Limb.LEFT_CHELA, LimbState.REGROWING),)
    assert (now.stage, now.soft_until_ms, now.hard_from_ms) == (
        Stage.HARDENING,
        lab.now_ms - 2 * DAY_MS,
        lab.now_ms + 4 * DAY_MS,
    )
    log(lab, K.LIMB_REGROWN, ada, limb=Limb.LEFT_CHELA)
    assert lab.service.lives.get(ada).marks == ()


def test_every_description_stays_on_record(lab: TestRoom) -> None:
    """A new word is a new version with who said it; the same word again is none."""
    ada = settle(lab, "Ada", sex=Sex.UNKNOWN)
    told = replace(lab.service.lives.get(ada).animal, sex=Sex.FEMALE, sex_how="pleopods")
    for _ in range(2):
        lab.service.animals.change(ada, told, "Noor", lab.now_ms).result(10)
    versions = lab.service.store.animals.versions(ada)
    assert [(animal_of(row.body).sex, row.entered_by) for row in versions] == [
        (Sex.UNKNOWN, "Aki"),
        (Sex.FEMALE, "Noor"),
    ]
    lab.restart()
    assert lab.service.lives.get(ada).animal == told


def test_two_animals_cannot_have_one_name(lab: TestRoom) -> None:
    """Capital letters do not tell animals apart; nothing of the second one is kept."""
    settle(lab, "Ada")
    bo = settle(lab, "Bo")
    with pytest.raises(InputError, match="already"):
        settle(lab, "ADA", carapace_mm=12.0)
    with pytest.raises(InputError, match="already"):
        lab.service.animals.change(bo, Animal("ada"), "Aki", lab.now_ms).result(10)
    assert [life.animal.name for life in lab.service.lives.all().values()] == ["Ada", "Bo"]
    assert [one.event.kind for one in entries(lab)] == [K.MOVED, K.MOVED]


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (lambda: Newcomer(Animal(" ")), "needs a name"),
        (lambda: Newcomer(Animal("A" * 81)), "too many"),
        (lambda: Newcomer(Animal("A\ud800")), "half a character"),
        (lambda: Newcomer(Animal("A", hatched=date(2026, 3, 2), arrived=date(2026, 3, 1))), "before it hatched"),
        (lambda: Newcomer(Animal("A", hatched=date(1066, 3, 2))), "year 1066"),
        (lambda: Newcomer(Animal("A"), "t9"), "no tank 't9'"),
        (lambda: Newcomer(Animal("A"), carapace_mm=900.0), "900 mm is outside"),
        (lambda: Newcomer(Animal("A"), mass_g=float("nan")), "outside"),
        (lambda: Newcomer(Animal("A"), last_molt=date(2100, 1, 1)), "not come yet"),
        (lambda: Newcomer(Animal("A", hatched=date(2026, 9, 1)), last_molt=date(2026, 8, 1)), "hatched on 2026-09-01"),
    ],
)
def test_what_cannot_be_an_animal(lab: TestRoom, given: object, words: str) -> None:
    """Refused in words, and nothing is kept."""
    assert callable(given)
    with pytest.raises(InputError, match=words):
        lab.service.animals.enter(given(), "Aki", lab.now_ms).result(10)
    assert (lab.service.lives.all(), entries(lab)) == ({}, [])


def test_what_is_said_of_a_species_nobody_knows(lab: TestRoom) -> None:
    """It is taken, and said."""
    assert remarks(Animal("A", "procambarus CLARKII")) == ()
    assert "no figures of its own" in remarks(Animal("A", "Astacopsis gouldi"))[0]
    assert "No species" in remarks(Animal("A"))[0]
    assert lab.service.lives.get(settle(lab, "Gil", species="Astacopsis gouldi")).animal.known_species is False


def test_another_process_may_enter_animals(lab: TestRoom) -> None:
    """What the command line enters while the service runs is seen by it at once."""
    from api.services.husbandry import EventLog
    from api.services.lives import Lives
    from api.storage.sqlite import SqliteStore

    ada = settle(lab, "Ada", days_ago=2)
    assert lab.service.lives.get(ada).molts == ()
    other = SqliteStore(lab.folder / "data" / "intermolt.db")
    try:
        from api.domain.husbandry import Husbandry

        EventLog(other, lab.service.plan, Lives(other)).enter(
            Husbandry(K.MOLT, lab.now_ms, animal=ada), "Noor", lab.now_ms
        ).result(10)
    finally:
        other.close()
    assert len(lab.service.lives.get(ada).molts) == 1


def test_photographs_are_told_by_what_is_in_them(lab: TestRoom) -> None:
    """Three kinds of pictures, bounded; the newest is shown; a page in disguise is refused."""
    ada = settle(lab, "Ada")
    assert picture_type(b"\xff\xd8\xff\xe0...") == "image/jpeg"
    assert picture_type(b"RIFF1234WEBPVP8 ") == "image/webp"
    with pytest.raises(InputError, match="no JPEG"):
        lab.service.animals.put_photograph(ada, b"<svg onload=alert(1)>", "Aki", lab.now_ms)
    with pytest.raises(InputError, match="no JPEG"):
        picture_type(b"12345678WEBPVP8 ")
    with pytest.raises(InputError, match="too large"):
        lab.service.animals.put_photograph(ada, PNG + b"\0" * 4_000_000, "Aki", lab.now_ms)
    with pytest.raises(NotFound):
        lab.service.animals.put_photograph(99, PNG, "Aki", lab.now_ms)
    with pytest.raises(NotFound):
        lab.service.animals.photograph(ada)
    for last in (b"1", b"2"):
        lab.service.animals.put_photograph(ada, PNG + last, "Aki", lab.now_ms).result(10)
    assert lab.service.animals.photograph(ada)[:2] == (PNG + b"2", "image/png")
    assert lab.service.animals.animal(ada, lab.now_ms).photographed


def test_a_clutch_from_eggs_to_young_off(lab: TestRoom) -> None:
    """Eggs, hatched, over when the mother moves; eggs lost end one at once; a second look begins no second clutch."""
    ada = settle(lab, "Ada", days_ago=60)
    log(lab, K.MATED, ada, days_ago=50)
    log(lab, K.EGGS_SEEN, ada, days_ago=40, what="cream")
    log(lab, K.EGGS_LOST, ada, days_ago=38)
    log(lab, K.EGGS_SEEN, ada, days_ago=30, what="dark brown")
    log(lab, K.EGGS_SEEN, ada, days_ago=20, what="eye spots")
    clutch = lab.service.lives.get(ada).clutch
    assert clutch is not None
    assert (clutch.eggs_ms, clutch.hatched_ms) == (lab.now_ms - 30 * DAY_MS, None)
    log(lab, K.HATCHED, ada, days_ago=3)
    log(lab, K.MOTHER_MOVED, ada, tank="t2", days_ago=1)
    life = lab.service.lives.get(ada)
    assert (life.clutch, life.tank) == (None, "t2")
    assert [(one.lost, one.hatched_ms is not None) for one in life.clutches] == [(True, False), (False, True)]
