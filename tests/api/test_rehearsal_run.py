"""Many readings at once tell exactly what reading by reading tells: same alerts, times, words, causes and forecasts."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace
from itertools import groupby
from pathlib import Path

import pytest

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.rehearsal.command import plan_of
from api.rehearsal.compiled import compiled_run
from api.rehearsal.stepwise import Rehearsal, Told
from api.rehearsal.whole import RehearsalRun, rehearsed
from api.services.plan import RoomPlan
from api.services.recording import recordings, straight
from tests.support.recorded_room import recorded, room_text


def one_by_one(plan: RoomPlan, readings: list[RawReading], end_ms: int) -> list[Told]:
    """The same through the whole line, pack by pack, with every look for silence."""
    one = Rehearsal(plan, readings[0].time_ms - 1)
    one._looks.nothing_until = lambda now_ms: -1  # type: ignore[method-assign]
    told = []
    for time_ms, pack in groupby(readings, key=lambda reading: reading.time_ms):
        told += one.take(list(pack), time_ms)
    told += one.advance(end_ms)
    one.close()
    return told


@pytest.mark.parametrize(
    ("seed", "tanks", "hours", "every_s"),
    [(1, 1, 30, 60), (2, 1, 200, 600), (3, 3, 24, 120), (5, 4, 48, 900)],
)
def test_at_once_and_one_by_one_are_the_same(tmp_path: Path, seed: int, tanks: int, hours: float, every_s: int) -> None:
    """Air, heaters, stuck, lifted, silent and lying probes, doubled rows, another unit, gaps."""
    (tmp_path / "room.toml").write_text(room_text(tanks, every_s), encoding="utf-8")
    plan = plan_of(tmp_path / "room.toml")
    readings = recorded(seed, tanks, hours, every_s)
    columns = recordings(readings)
    assert all(straight(one, plan) for one in columns)
    end_ms = readings[-1].time_ms + 2 * 3_600_000
    at_once = rehearsed(plan, columns, end_ms)
    assert len(at_once) > 4
    assert at_once == one_by_one(plan, readings, end_ms)
    with closing(RehearsalRun(plan, readings[0].time_ms - 1, columns, compiled_run())) as compiled:
        assert compiled.run(end_ms) == at_once


@pytest.mark.parametrize(
    ("seed", "hours", "every_s", "later_ms"), [(3, 20, 60, 0), (6, 60, 300, 0), (7, 40, 120, 20_000)]
)
def test_probes_that_keep_each_other_company(
    tmp_path: Path, seed: int, hours: float, every_s: int, later_ms: int
) -> None:
    """Two probes in one tank, and a third elsewhere: a jump of one alone is doubted, at one moment or seconds apart."""
    text = room_text(3, every_s).replace('tank = "t1"', 'tank = "t0"')
    (tmp_path / "room.toml").write_text(text, encoding="utf-8")
    plan = plan_of(tmp_path / "room.toml")
    said = [
        replace(one, time_ms=one.time_ms + later_ms) if one.probe == "p1" else one
        for one in recorded(seed, 3, hours, every_s)
    ]
    readings = sorted(said, key=lambda one: one.time_ms)
    columns, end_ms = recordings(readings), readings[-1].time_ms + 3_600_000
    assert plan.channel("p0", Quantity.TEMPERATURE).company == ("p1",)
    assert all(straight(one, plan) for one in columns)
    at_once = rehearsed(plan, columns, end_ms)
    assert at_once == one_by_one(plan, readings, end_ms)
    with closing(RehearsalRun(plan, readings[0].time_ms - 1, columns, compiled_run())) as compiled:
        assert compiled.run(end_ms) == at_once


def test_channels_that_lean_on_others_go_through_the_whole_line(tmp_path: Path) -> None:
    """Oxygen said in percent is judged in mg/L, with the temperature."""
    text = room_text(2, 60).replace('quantity = "oxygen", unit = "mg/L"', 'quantity = "oxygen_saturation", unit = "%"')
    (tmp_path / "room.toml").write_text(text, encoding="utf-8")
    plan = plan_of(tmp_path / "room.toml")
    readings = [
        replace(one, quantity=Quantity.OXYGEN_SATURATION, unit="%", value=one.value * 12.2)
        if one.quantity is Quantity.OXYGEN
        else one
        for one in recorded(3, 2, 8)
    ]
    columns = recordings(readings)
    assert not all(straight(one, plan) for one in columns)
    assert rehearsed(plan, columns, readings[-1].time_ms) == one_by_one(plan, readings, readings[-1].time_ms)
