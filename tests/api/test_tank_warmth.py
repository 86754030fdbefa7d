"""Temperatures by tank for the clocks of its animals, and what is foretold of them through the service."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.app import create_api
from api.domain.calibration import Calibration, CalibrationKind
from api.domain.husbandry import EventKind
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.services.tank_warmth import HOUR_MS, TankWarmth
from tests.dashboard.caller import Caller
from tests.support.colony import DAY_MS, log, settle
from tests.support.rooms import ROOM, TestRoom, room

K = EventKind


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks; p1 has said 20 degrees twice an hour for two days."""
    with room(tmp_path) as one:
        now_ms = one.now_ms
        one.now_ms = now_ms - 2 * DAY_MS
        while one.now_ms < now_ms:
            one.now_ms += HOUR_MS // 2
            one.take(RawReading("p1", Quantity.TEMPERATURE, one.now_ms, 20.0, "Cel"))
        yield one


def test_hours_of_a_tank(lab: TestRoom) -> None:
    """Means by the hour; a tank whose thermometer never spoke has none."""
    warmth = TankWarmth(lab.service.store, lab.service.plan)
    found = warmth.all({"t1", "t2", "t9"}, lab.now_ms)
    assert set(found["t1"].temperature_c.tolist()) == {20.0}
    assert 47 <= found["t1"].time_ms.size <= 49
    assert found["t2"].time_ms.size == found["t9"].time_ms.size == 0
    lab.now_ms += HOUR_MS
    lab.take(RawReading("p1", Quantity.TEMPERATURE, lab.now_ms, 23.0, "Cel"))
    again = warmth.all({"t1"}, lab.now_ms)["t1"]
    assert again.temperature_c[-1] == 23.0
    assert (again.time_ms[1:] > again.time_ms[:-1]).all()
    whole = TankWarmth(lab.service.store, lab.service.plan).all({"t1"}, lab.now_ms)["t1"]
    assert (again.time_ms == whole.time_ms).all()
    assert (again.temperature_c == whole.temperature_c).all()


def test_two_thermometers_of_a_tank(tmp_path: Path) -> None:
    """The mean of the two where both spoke, the one that spoke elsewhere; beside a plain sum over the readings."""
    with room(tmp_path, ROOM.replace('tank = "t2"', 'tank = "t1"')) as one:
        start_ms = one.now_ms - one.now_ms % HOUR_MS - 10 * HOUR_MS
        said: dict[int, list[float]] = {}
        for hour in range(9):
            one.now_ms = start_ms + hour * HOUR_MS + 60_000
            for probe, here, degrees in (("p1", hour < 6, 20.0 + hour), ("p2", hour > 2, 22.0)):
                if here:
                    unit, value = ("Cel", degrees) if probe == "p1" else ("[degF]", degrees * 1.8 + 32.0)
                    one.take(RawReading(probe, Quantity.TEMPERATURE, one.now_ms, value, unit))
                    said.setdefault(start_ms + hour * HOUR_MS, []).append(degrees)
        found = TankWarmth(one.service.store, one.service.plan).all({"t1"}, one.now_ms)["t1"]
        assert found.time_ms.tolist() == sorted(said)
        assert found.temperature_c.tolist() == pytest.approx([sum(said[at]) / len(said[at]) for at in sorted(said)])


def test_a_calibrated_thermometer_is_read_anew(lab: TestRoom) -> None:
    """From the beginning, as its hours have changed."""
    warmth = TankWarmth(lab.service.store, lab.service.plan)
    warmth.all({"t1"}, lab.now_ms)
    given = Calibration("p1", Quantity.TEMPERATURE, CalibrationKind.OFFSET, 0, 20.0, 22.0, person="Aki")
    lab.service.calibrations.enter(given, lab.now_ms).result(10)
    lab.service.again.look()
    assert set(warmth.all({"t1"}, lab.now_ms)["t1"].temperature_c.tolist()) == {22.0}


def test_a_molt_is_foretold_from_the_record(lab: TestRoom) -> None:
    """For the living, made anew when a molt is logged; the dead have none; a late one is no alert."""
    ada, bo = settle(lab, "Ada", days_ago=90, carapace_mm=18.0), settle(lab, "Bo", days_ago=90)
    log(lab, K.MOLT, ada, days_ago=80)
    before = lab.service.molts.of(ada, lab.now_ms)
    assert before is not None
    assert (before.basis.own_molts, before.held) == (1, False)
    assert before.basis.known_share < 0.1
    assert any("temperature known for" in words for words in before.warnings)
    assert lab.service.molts.outlook(lab.now_ms) is lab.service.molts.outlook(lab.now_ms + 1000)
    log(lab, K.MOLT, ada, days_ago=1)
    after = lab.service.molts.of(ada, lab.now_ms)
    assert after is not None
    assert after.within_7d < before.within_7d
    log(lab, K.EGGS_SEEN, bo, days_ago=1, what="dark brown")
    held = lab.service.molts.of(bo, lab.now_ms)
    assert held is not None
    assert held.held
    clutch = lab.service.molts.clutch(bo, lab.now_ms)
    assert clutch is not None
    assert clutch.hatch_ms is not None
    assert lab.service.molts.clutch(ada, lab.now_ms) is None
    log(lab, K.DIED, ada)
    assert lab.service.molts.of(ada, lab.now_ms) is None
    lab.service.watch.look()
    assert {one.kind for one in lab.service.read.alerts(None)} <= {"quiet_probe", "quiet_room", "soft_and_hard"}


def test_other_programs_are_told(lab: TestRoom) -> None:
    """Chances, windows and what they rest on stand with the animal."""
    ada = settle(lab, "Ada", days_ago=90, carapace_mm=18.0)
    log(lab, K.MOLT, ada, days_ago=20)
    with Caller(create_api(lab.service)) as site:
        told = site.get(f"/api/v1/animals/{ada}").json()["next_molt"]
    assert 0.0 < told["within_3_days"] < told["within_7_days"] < told["within_14_days"] < 1.0
    assert told["window_80"][0] <= told["window_50"][0] <= told["window_50"][1]
    assert told["rests_on"].startswith("1 molt of this animal, 1 of its species here")
