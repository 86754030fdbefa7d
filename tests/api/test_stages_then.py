"""The past is judged by the stage its animals were in then: soft, berried, with young; not by the one of today."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from api.domain.animal import Animal
from api.domain.care_change import TANK
from api.domain.husbandry import EventKind, Husbandry
from api.domain.life import Life, life_of
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.judge.stages import spans_of, stages_at
from api.services.care import Wish
from tests.api.test_keep_past import import_all
from tests.support.colony import DAY_MS, log, settle
from tests.support.rooms import TestRoom, room

K = EventKind
MINUTE_MS = 60_000


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Ada alone in t1; live readings come."""
    with room(tmp_path) as one:
        settle(one, "Ada", "t1", days_ago=100)
        one.minute(7.5)
        yield one


def oxygen(lab: TestRoom, days_ago: float, mg_l: float = 5.5) -> list[RawReading]:
    """An hour of a logger's file; 5.5 mg/L is tolerable, but not while an animal is soft."""
    begin_ms = lab.now_ms - round(days_ago * DAY_MS)
    return [
        RawReading("p1", Quantity.OXYGEN, begin_ms + n * MINUTE_MS, mg_l + 0.01 * (n % 3), "mg/L") for n in range(60)
    ]


def found(lab: TestRoom) -> int:
    """How many alerts of low oxygen there are."""
    return sum(one.kind == "low_oxygen" for one in lab.service.read.alerts(None))


@pytest.mark.parametrize("way", ["late", "import"])
def test_a_file_is_judged_by_the_stage_of_its_time(lab: TestRoom, way: str) -> None:
    """Ada molted 20 days ago and today: the day after the first molt is too low, ten days later is well enough."""
    log(lab, K.MOLT, 1, days_ago=20)
    log(lab, K.MOLT, 1, days_ago=0.1)
    for days_ago, count in ((30.0, 0), (10.0, 0), (19.0, 1)):
        if way == "import":
            import_all(lab, oxygen(lab, days_ago), 1000)
        else:
            lab.take(*oxygen(lab, days_ago))
            lab.now_ms += 10_000
            lab.service.again.look()
        assert found(lab) == count, days_ago


def test_a_berried_stage_has_its_own_limit_in_the_past(lab: TestRoom) -> None:
    """Changed for berried animals before; judged so while she was berried, and not after."""
    lab.now_ms -= 50 * DAY_MS
    lab.service.care.change(
        Wish(TANK, "t1", Quantity.OXYGEN, {"tolerable_low": 5.9}, "berried"), "Ana", "eggs need more"
    ).result()
    lab.now_ms += 50 * DAY_MS
    log(lab, K.EGGS_SEEN, 1, days_ago=40)
    log(lab, K.EGGS_LOST, 1, days_ago=30)
    lab.service.guard.look()
    import_all(lab, oxygen(lab, 25.0), 1000)
    assert found(lab) == 0
    import_all(lab, oxygen(lab, 35.0), 1000)
    assert found(lab) == 1


def told(*events: tuple[EventKind, float, str | None]) -> Life:
    """A life from kinds, days and tanks."""
    made = [Husbandry(kind, round(day * DAY_MS), tank=tank, animal=1) for kind, day, tank in events]
    return life_of(1, Animal("Ada", ""), made)


def test_a_stage_moves_with_its_animal_and_ends_with_it() -> None:
    """Soft for four days from day 10, moved on day 12, dead on day 13; eggs from 5 to a hatching on 8, young to 9."""
    life = told((K.MOVED, 0, "a"), (K.EGGS_SEEN, 5, None), (K.HATCHED, 8, None), (K.YOUNG_OFF, 9, None),
                (K.MOLT, 10, None), (K.MOVED, 12, "b"), (K.DIED, 13, None))  # fmt: skip
    spans = spans_of([life], [("c", 2 * DAY_MS)])

    def at(tank: str, day: float) -> set[str]:
        return set(stages_at(spans, tank, round(day * DAY_MS)))

    assert [at("a", day) for day in (4, 6, 8.5, 9.5, 11, 12.5)] == [
        set(), {"berried"}, {"with young"}, set(), {"soft"}, set(),
    ]  # fmt: skip
    assert [at("b", day) for day in (11, 12.5, 13.5)] == [set(), {"soft"}, set()]
    assert [at("c", day) for day in (1.9, 3, 6.1)] == [set(), {"soft"}, set()]
    assert stages_at(spans_of([replace(life, stays=())]), "a", 11 * DAY_MS) == frozenset()
