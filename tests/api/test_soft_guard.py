"""The soft guard: tighter oxygen while an animal is soft, and an alert while a hard one is with it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.domain.alert import AlertKind, AlertState
from api.domain.care import WARM_WATER, CareRange
from api.domain.husbandry import EventKind
from api.domain.life import Molt, Stage
from api.domain.quantity import Quantity
from api.judge.soft_stage import stage_at, tighter
from api.services.answers import AlertNow
from tests.support.colony import DAY_MS, HOUR_MS, log, settle
from tests.support.rooms import TestRoom, room

K = EventKind


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks; Ada alone in t1, Bo and Cy in t2."""
    with room(tmp_path) as one:
        settle(one, "Ada", "t1", days_ago=100)
        settle(one, "Bo", "t2", days_ago=100)
        settle(one, "Cy", "t2", days_ago=100)
        yield one


def together(lab: TestRoom) -> list[AlertNow]:
    """A look, and the alerts of soft and hard animals."""
    lab.now_ms += 5_000
    lab.service.watch.look()
    return [one for one in lab.service.read.alerts(None) if one.kind is AlertKind.SOFT_AND_HARD]


def limit(lab: TestRoom, tank: str) -> float | None:
    """Below which oxygen an alert begins."""
    plan = lab.service.plan()
    found = plan.range_of(plan.tanks[tank], Quantity.OXYGEN)
    return found.alert_low if found is not None else None


def test_stages_of_the_published_table() -> None:
    """Stevenson's timetable: through stage B in 4 days, rigid (C3) from about 10; counted from the latest moment."""
    molt = Molt(10 * DAY_MS, 7 * DAY_MS)
    days = (6, 8, 10, 13, 15, 19, 21)
    stages = [stage_at((molt,), day * DAY_MS) for day in days]
    assert stages == [Stage.HARD, *[Stage.SOFT] * 3, Stage.HARDENING, Stage.HARDENING, Stage.HARD]


def test_limits_below_rise_and_never_cross_those_above() -> None:
    """By 1 mg/L, as far as the target's upper end allows; temperature stays."""
    oxygen = WARM_WATER.range_of(Quantity.OXYGEN)
    assert oxygen is not None
    soft = tighter(oxygen)
    assert (soft.target_low, soft.tolerable_low, soft.danger_low) == (7.0, 6.0, 4.0)
    assert "judgement" in soft.source
    narrow = tighter(CareRange(Quantity.OXYGEN, target_low=6.0, target_high=6.5, danger_low=3.0))
    assert (narrow.target_low, narrow.target_high, narrow.danger_low) == (6.5, 6.5, 4.0)
    warmth = WARM_WATER.range_of(Quantity.TEMPERATURE)
    assert warmth is not None
    assert tighter(warmth) is warmth


def test_oxygen_is_tighter_while_an_animal_is_soft(lab: TestRoom) -> None:
    """In its tank only, from the molt on, for four days, also after a restart; a molt taken back ends it at once."""
    lab.minute(5.5)
    assert (limit(lab, "t1"), lab.service.read.tank("t1", lab.now_ms).soft) == (5.0, ())
    molt = log(lab, K.MOLT, 1)
    assert (limit(lab, "t1"), limit(lab, "t2")) == (6.0, 5.0)
    soft = lab.service.read.tank("t1", lab.now_ms).soft
    assert [(one.name, one.stage, one.soft_until_ms) for one in soft] == [("Ada", Stage.SOFT, lab.now_ms + 4 * DAY_MS)]
    for _ in range(15):
        lab.minute(5.5)
    assert [one.kind for one in lab.service.read.alerts(None)] == [AlertKind.LOW_OXYGEN]
    assert lab.service.read.alerts(None)[0].limit == 6.0
    lab.restart()
    assert limit(lab, "t1") == 6.0
    lab.now_ms += 4 * DAY_MS
    together(lab)
    assert limit(lab, "t1") == 5.0
    hardening = lab.service.read.room(lab.now_ms).tanks
    assert [one.stage for tank in hardening for one in tank.soft] == [Stage.HARDENING]
    lab.service.events.withdraw(molt, "Noor", lab.now_ms).result(10)
    again = log(lab, K.MOLT, 1)
    assert limit(lab, "t1") == 6.0
    lab.service.events.withdraw(again, "Noor", lab.now_ms).result(10)
    assert limit(lab, "t1") == 5.0


def test_soft_and_hard_together_is_an_alert_until_they_are_parted(lab: TestRoom) -> None:
    """Alone there is none; with a hard one there is, told once; it ends when either leaves."""
    log(lab, K.MOLT, 1)
    assert together(lab) == []
    log(lab, K.MOLT, 2)
    alerts = together(lab)
    assert [(one.tank, one.ended_ms, one.priority) for one in alerts] == [("t2", None, "today")]
    assert "Do not handle the soft one" in alerts[0].text
    assert len(together(lab)) == 1
    lab.service.deliver.once()
    assert [title for title, _ in lab.notifier.sent] == ["t2: soft and hard animals together"]
    log(lab, K.MOVED, 2, tank="t1")
    assert {one.tank: one.state for one in together(lab)}["t2"] is AlertState.RETURNED_UNACKNOWLEDGED
    assert [one.tank for one in together(lab)] == ["t2"], "two soft ones in t1 are no alert"


def test_a_soft_animal_hardens_and_the_alert_is_over(lab: TestRoom) -> None:
    """After four days nobody has to do anything."""
    log(lab, K.MOLT, 2)
    assert together(lab)[0].state is AlertState.UNACKNOWLEDGED
    lab.now_ms += 4 * DAY_MS
    assert together(lab)[0].state is AlertState.RETURNED_UNACKNOWLEDGED


def test_the_dead_are_no_danger(lab: TestRoom) -> None:
    """And are not soft either."""
    log(lab, K.DIED, 3, days_ago=1)
    log(lab, K.MOLT, 2)
    assert together(lab) == []
    log(lab, K.DIED, 2)
    assert lab.service.read.tank("t2", lab.now_ms).soft == ()


def test_an_exuvia_that_nobody_knows_the_owner_of(lab: TestRoom) -> None:
    """In a tank of two, one is soft and one is not; with two exuviae both are."""
    log(lab, K.EXUVIA, tank="t2", since_ms=lab.now_ms - DAY_MS)
    assert [one.name for one in lab.service.read.tank("t2", lab.now_ms).soft] == ["one of its animals"]
    assert limit(lab, "t2") == 6.0
    assert [one.tank for one in together(lab)] == ["t2"]
    lab.now_ms += HOUR_MS
    log(lab, K.MOLT, 2)
    assert together(lab)[0].state is AlertState.RETURNED_UNACKNOWLEDGED


def test_a_mother_leaves_her_young_by_the_third_day(lab: TestRoom) -> None:
    """Berried stands with the tank; two days after hatching there is an alert, until she is moved or they are off."""
    log(lab, K.EGGS_SEEN, 2, days_ago=30)
    tank = lab.service.read.tank("t2", lab.now_ms)
    assert [(one.name, one.hatched_ms) for one in tank.broods] == [("Bo", None)]
    log(lab, K.HATCHED, 2, days_ago=1.9)
    lab.service.watch.look()
    assert lab.service.read.alerts(None) == ()
    lab.now_ms += DAY_MS // 4
    together(lab)
    alerts = [one for one in lab.service.read.alerts(None) if one.kind is not AlertKind.QUIET_ROOM]
    assert [(one.kind, one.tank, one.priority) for one in alerts] == [(AlertKind.MOTHER_STAYS, "t2", "today")]
    assert "no young cling under her tail" in alerts[0].text
    log(lab, K.MOTHER_MOVED, 2, tank="t1")
    together(lab)
    assert lab.service.read.alert(alerts[0].id).state is AlertState.RETURNED_UNACKNOWLEDGED
    assert lab.service.read.tank("t2", lab.now_ms).broods == ()
