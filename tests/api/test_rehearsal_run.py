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
from api.rehearsal.whole import RehearsalRun, by_columns, rehearsed
from api.services.plan import RoomPlan
from tests.support.columns import recordings
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
    assert by_columns(plan, columns)
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
    assert by_columns(plan, columns)
    at_once = rehearsed(plan, columns, end_ms)
    assert at_once == one_by_one(plan, readings, end_ms)
    with closing(RehearsalRun(plan, readings[0].time_ms - 1, columns, compiled_run())) as compiled:
        assert compiled.run(end_ms) == at_once


PERCENT = 'quantity = "oxygen_saturation", unit = "%"'


def in_percent(readings: list[RawReading]) -> list[RawReading]:
    """Oxygen as probes say it that know nothing of mg/L."""
    return [
        replace(one, quantity=Quantity.OXYGEN_SATURATION, unit="%", value=round(one.value * 12.2, 1))
        if one.quantity is Quantity.OXYGEN
        else one
        for one in readings
    ]


@pytest.mark.parametrize(
    ("seed", "hours", "every_s", "later_ms", "one_tank"),
    [(3, 20, 60, 0, False), (6, 60, 300, 0, True), (7, 40, 120, 20_000, True), (9, 80, 600, 200_000, False)],
)
def test_oxygen_said_in_percent_is_judged_in_mg_l(
    tmp_path: Path, seed: int, hours: float, every_s: int, later_ms: int, one_tank: bool
) -> None:
    """With the temperature known when it came: its own, which may come minutes later, or of the probe beside it."""
    text = room_text(2, every_s).replace('quantity = "oxygen", unit = "mg/L"', PERCENT)
    (tmp_path / "room.toml").write_text(text.replace('tank = "t1"', 'tank = "t0"' if one_tank else 'tank = "t1"'))
    plan = plan_of(tmp_path / "room.toml")
    said = [
        replace(one, time_ms=one.time_ms + later_ms)
        if one.probe == "p1" or (one.quantity is Quantity.TEMPERATURE and not one_tank)
        else one
        for one in recorded(seed, 2, hours, every_s)
    ]
    readings = sorted(in_percent(said), key=lambda one: one.time_ms)
    columns, end_ms = recordings(readings), readings[-1].time_ms + 3_600_000
    assert by_columns(plan, columns)
    at_once = rehearsed(plan, columns, end_ms)
    assert any(one.quantity is Quantity.OXYGEN for one in at_once)
    assert at_once == one_by_one(plan, readings, end_ms)
    with closing(RehearsalRun(plan, readings[0].time_ms - 1, columns, compiled_run())) as compiled:
        assert compiled.run(end_ms) == at_once


def test_oxygen_that_leans_on_a_pressure_that_changes_goes_through_the_whole_line(tmp_path: Path) -> None:
    """A barometer in the room."""
    barometer = (
        '[[probe]]\nid = "air"\ndriver = "serial_lines"\nport = "/dev/null"\nevery_s = 600\n'
        'value = [{ quantity = "pressure", unit = "kPa" }]\n'
    )
    text = room_text(2, 60).replace('quantity = "oxygen", unit = "mg/L"', PERCENT) + barometer
    (tmp_path / "room.toml").write_text(text, encoding="utf-8")
    plan = plan_of(tmp_path / "room.toml")
    readings = in_percent(recorded(3, 2, 8))
    weather = [
        RawReading("air", Quantity.PRESSURE, time_ms, 101.0 - place * 0.05, "kPa")
        for place, time_ms in enumerate(range(readings[0].time_ms, readings[-1].time_ms, 600_000))
    ]
    readings = sorted([*readings, *weather], key=lambda one: one.time_ms)
    columns = recordings(readings)
    assert not by_columns(plan, columns)
    assert rehearsed(plan, columns, readings[-1].time_ms) == one_by_one(plan, readings, readings[-1].time_ms)
