"""Air tests and grace time on water that follows the oxygen balance exactly.

Source of the balance: dC/dt = k (C* - C) - R, Bandyopadhyay, Humphrey & Taguchi 1967; its solution is written out here.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import exp, inf, log
from pathlib import Path

import pytest

from api.domain.errors import InputError, NotFound
from api.science.oxygen import saturation_mg_l
from tests.support.rooms import TestRoom, room

FULL = saturation_mg_l(26.0, 101.325)
DEMAND, STILL, AIRED = 1.5, 0.10, 2.0


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """One tank t1 with a probe that says oxygen and temperature every minute."""
    with room(tmp_path) as one:
        yield one


def after(oxygen: float, exchange: float, hours: float) -> float:
    """Oxygen after a time at constant exchange and demand. [mg/L]"""
    rest = FULL - DEMAND / exchange
    return rest + (oxygen - rest) * exp(-exchange * hours)


def hours_to(oxygen: float, limit: float) -> float:
    """Hours without air to a limit, by the same solution."""
    rest = FULL - DEMAND / STILL
    return log((oxygen - rest) / (limit - rest)) / STILL


def run(lab: TestRoom, oxygen: float, exchange: float, minutes: int) -> float:
    """Let the water move, a reading a minute, rounded as a probe would; every look of the air tests is taken."""
    for _ in range(minutes):
        oxygen = after(oxygen, exchange, 1 / 60)
        lab.minute(round(oxygen, 2))
        lab.service.air_tests.look()
    return oxygen


def test_an_air_test_tells_demand_exchange_and_hours(lab: TestRoom) -> None:
    """Fifty minutes off, an hour on: the balance's own numbers come back inside the intervals."""
    tests = lab.service.air_tests
    oxygen = run(lab, FULL - DEMAND / AIRED, AIRED, 30)
    tests.begin("t1", "Keeper").result()
    oxygen = run(lab, oxygen, STILL, 50)
    tests.air_on("t1").result()
    oxygen = run(lab, oxygen, AIRED, 60)
    tests.end("t1").result()
    found = lab.service.grace.tank("t1")
    assert found.source == "air test"
    assert found.demand is not None
    assert found.still is not None
    assert found.aired is not None
    assert found.demand.value == pytest.approx(DEMAND, rel=0.05)
    assert found.aired.value == pytest.approx(AIRED, rel=0.05)
    assert found.still.value == pytest.approx(STILL, abs=0.03)
    assert found.demand.low <= found.demand.value <= found.demand.high
    tolerable, danger = found.to
    for to, limit in ((tolerable, 5.0), (danger, 3.0)):
        truth = hours_to(found.oxygen_mg_l or 0.0, limit)
        assert to.hours == pytest.approx(truth, rel=0.05)
        assert to.low_h <= truth <= to.high_h
    assert lab.service.grace.all()[0].tank.id == "t1"


def test_the_air_goes_on_before_the_tolerable_limit(lab: TestRoom) -> None:
    """The test ends by itself at 5.2 mg/L and everybody is told at once; until then nobody is woken."""
    oxygen = run(lab, FULL - DEMAND / AIRED, AIRED, 30)
    lab.service.air_tests.begin("t1", "Keeper").result()
    while lab.service.air_tests.running("t1").stop_ms is None:  # type: ignore[union-attr]
        assert oxygen > 5.1
        lab.service.deliver.once()
        assert lab.notifier.sent == []
        oxygen = run(lab, oxygen, STILL, 1)
    assert oxygen == pytest.approx(5.2, abs=0.06)
    lab.service.deliver.once()
    assert [title for title, _ in lab.notifier.sent] == ["URGENT t1: air on again"]
    assert "put the air on again now" in lab.notifier.sent[0][1]
    lab.service.air_tests.air_on("t1").result()
    assert lab.service.grace.tank("t1").demand is not None


def test_a_probe_that_falls_silent_ends_a_test(lab: TestRoom) -> None:
    """Nothing could watch it."""
    run(lab, 7.5, AIRED, 20)
    lab.service.air_tests.begin("t1", "Keeper").result()
    lab.now_ms += 601_000
    lab.service.air_tests.look()
    test = lab.service.air_tests.running("t1")
    assert test is not None
    assert test.stop_ms == lab.now_ms
    assert "not heard" in test.why


def test_what_cannot_be_watched_does_not_begin(lab: TestRoom) -> None:
    """No reading, too little oxygen, a second test, no such tank: each says what to do."""
    tests = lab.service.air_tests
    with pytest.raises(NotFound):
        tests.begin("nowhere", "Keeper")
    with pytest.raises(InputError, match="no oxygen reading"):
        tests.begin("t1", "Keeper")
    lab.minute(5.4)
    with pytest.raises(InputError, match=r"too near to 5\.2"):
        tests.begin("t1", "Keeper")
    lab.minute(7.4)
    tests.begin("t1", "Keeper").result()
    with pytest.raises(InputError, match="one tank at a time"):
        tests.begin("t1", "Keeper")
    with pytest.raises(InputError, match="air is on again"):
        tests.end("t1")
    lab.restart()
    assert lab.service.air_tests.running("t1") is not None
    assert lab.service.ingest.judging.on_purpose == {"t1"}


def test_nothing_is_known_without_a_test(lab: TestRoom) -> None:
    """And a test of five minutes says why it tells nothing."""
    assert lab.service.grace.tank("t1").source == ""
    assert lab.service.grace.tank("t1").soonest_h == inf
    oxygen = run(lab, 7.4, AIRED, 5)
    lab.service.air_tests.begin("t1", "Keeper").result()
    run(lab, oxygen, STILL, 5)
    lab.service.air_tests.air_on("t1").result()
    found = lab.service.grace.tank("t1")
    assert found.source == ""
    assert "too short" in found.notes[0]


def test_air_that_was_lost_teaches_the_same(lab: TestRoom) -> None:
    """Nobody made a test: the airstone stopped, the alert named it, and the fall tells demand and hours."""
    oxygen = run(lab, FULL - DEMAND / AIRED, AIRED, 180)
    oxygen = run(lab, oxygen, STILL, 90)
    run(lab, oxygen, AIRED, 60)
    found = lab.service.grace.tank("t1")
    assert found.source == "air lost"
    assert found.demand is not None
    danger = found.to[-1]
    truth = hours_to(found.oxygen_mg_l or 0.0, 3.0)
    assert danger.low_h <= truth <= danger.high_h
    assert danger.hours == pytest.approx(truth, rel=0.2)
