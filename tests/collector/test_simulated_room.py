"""The invented room's story: its past is calm, its opening faults come in time, and each start goes on where it was."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from api.domain.roomfile import parse_room
from collector.simulated import live, schedule
from collector.simulated.demo import Demo, demo_of, faults_between, live_past
from collector.simulated.faults import FaultKind
from collector.simulated.oxygen import Array
from collector.simulated.physics import Record, march
from collector.simulated.probe_signal import signal
from collector.simulated.room_air import HOUR_MS
from collector.simulated.saved import Saved

TEMPLATE = Path(live.__file__).with_name("room.toml")
START_MS = 1_774_000_000_000
"""20 March 2026, 09:46:40 UTC."""


def room_with(history_days: float, seed: int = 7, speed: float = 1.0) -> Demo:
    """The demo with a past of this length."""
    demo = demo_of(parse_room(TEMPLATE.read_text(encoding="utf-8"), str(TEMPLATE)), str(TEMPLATE))
    return replace(demo, settings=replace(demo.settings, history_days=history_days, seed=seed, speed=speed))


@dataclass(frozen=True)
class Seen:
    """What the probes read: minutes after the first start, and one column a tank."""

    minutes: NDArray[np.float64]
    temperature_c: Array
    oxygen_mg_l: Array
    end: Saved


def seen(demo: Demo, records: list[Record], start_ms: int, end: Saved) -> Seen:
    """What the probes made of these records."""
    tanks, seed = demo.scene(start_ms).tanks, demo.settings.seed
    reads = [signal(tanks, seed, r.times_ms, r.values["probe_c"], r.values["probe_mg_l"], r.faults) for r in records]
    return Seen(
        (np.concatenate([r.times_ms for r in records]) - start_ms) / 60_000,
        np.concatenate([r.temperature_c for r in reads]),
        np.concatenate([r.oxygen_mg_l for r in reads]),
        end,
    )


def past_of(demo: Demo, start_ms: int) -> Seen:
    """The probes' readings before the first start."""
    pairs = list(live_past(demo, start_ms))
    return seen(demo, [record for record, _ in pairs if len(record.times_ms)], start_ms, pairs[-1][1])


@cache
def begun(seed: int = 7, start_ms: int = START_MS) -> Saved:
    """The room at a first start, after a short past."""
    return past_of(room_with(0.05, seed), start_ms).end


def after(demo: Demo, saved: Saved, hours: float) -> Seen:
    """The probes' readings from the first start on."""
    start_ms = saved.state.time_ms
    scene = demo.scene(start_ms, faults_between(demo, saved, start_ms, start_ms + round(hours * HOUR_MS)))
    records = [record for record, _ in march(scene, saved.state, start_ms + round(hours * HOUR_MS))]
    return seen(demo, records, start_ms, saved)


@pytest.fixture(scope="module")
def days() -> Seen:
    """The last four of the demo's days, which hold both of its small past events."""
    return past_of(room_with(4), START_MS)


def test_the_past_days_are_calm(days: Seen) -> None:
    """Before the last three hours every tank keeps inside 75 to 85 F and above 6 mg/L."""
    before = days.minutes < -180
    assert days.temperature_c[before].min() > (75 - 32) / 1.8
    assert days.temperature_c[before].max() < (85 - 32) / 1.8
    assert days.oxygen_mg_l[before].min() > 6.0
    assert not np.isnan(days.temperature_c).any()


def test_a_healthy_tank_lives_by_the_day(days: Seen) -> None:
    """25 to 28 degC and 7.2 to 8.3 mg/L, with a day's swing many times the probe's noise (0.012 degC and mg/L)."""
    tank = room_with(4).names.index("A1")
    warm, full = (values[:-1, tank].reshape(4, 1440) for values in (days.temperature_c, days.oxygen_mg_l))
    assert warm.min() > 25.0
    assert warm.max() < 28.0
    assert full.min() > 7.2
    assert full.max() < 8.3
    assert np.ptp(warm, axis=1).min() > 0.3
    assert (np.percentile(full, 98, axis=1) - np.percentile(full, 2, axis=1)).min() > 0.08


def test_at_the_first_start_only_the_two_tanks_are_near_a_limit(days: Seen) -> None:
    """All others are in their target with 0.3 degC and 0.3 mg/L to spare."""
    others = [n for n, name in enumerate(room_with(4).names) if name not in ("A2", "B2")]
    warm, full = days.temperature_c[-1, others], days.oxygen_mg_l[-1, others]
    assert warm.min() > 24.2
    assert warm.max() < 29.1
    assert full.min() > 6.3


def first(minutes: NDArray[np.float64], out: NDArray[np.bool_]) -> float:
    """The minute of the first reading that is out."""
    assert out.any()
    return float(minutes[int(np.argmax(out))])


@pytest.mark.parametrize(("seed", "hour"), [(7, 0), (7, 8), (7, 16), (7, 41), (1, 4)])
def test_three_alerts_are_due_within_fifteen_minutes(seed: int, hour: int) -> None:
    """At any hour of day: out within 3 min, and out to stay for the 10 min an alert waits; silence 30 s and 5 min."""
    demo = room_with(0.05, seed)
    past = past_of(demo, START_MS + hour * HOUR_MS)
    told, names = after(demo, past.end, 1.0), demo.names
    oxygen, warm = told.oxygen_mg_l[:, names.index("B2")], told.temperature_c[:, names.index("A2")]
    assert past.oxygen_mg_l[-1, names.index("B2")] > 5.0
    assert past.temperature_c[-1, names.index("A2")] < 31.0
    assert first(told.minutes, oxygen < 5.0) < 3.0
    assert first(told.minutes, warm > 31.0) < 3.0
    from_3 = told.minutes >= 3.0
    assert oxygen[from_3].max() < 5.0
    assert warm[from_3].min() > 31.0
    at_20 = int(np.searchsorted(told.minutes, 20.0))
    assert 3.0 < oxygen[at_20] < 4.5
    assert told.minutes[int(np.argmax(oxygen < 3.0))] > 25.0
    quiet = told.minutes[np.isnan(told.temperature_c[:, names.index("C1")])]
    assert quiet[0] + 0.5 + 5.0 < 12.0
    assert quiet[-1] > 25.0
    assert np.isnan(told.temperature_c).any(axis=0).sum() == 1


def test_the_opening_faults_end_and_the_tanks_recover() -> None:
    """Danger is reached (3 mg/L, 34 degC), and half a day later all three are in their targets and speak."""
    demo = room_with(0.05)
    told = after(demo, begun(), 12.6)
    starved, heated = (demo.names.index(name) for name in ("B2", "A2"))
    assert 0.5 < np.nanmin(told.oxygen_mg_l[:, starved]) < 3.0
    assert 34.0 < np.nanmax(told.temperature_c[:, heated]) < 36.0
    last = told.minutes > 735
    for tank in (starved, heated, demo.names.index("C1")):
        assert told.oxygen_mg_l[last, tank].min() > 6.0
        assert told.temperature_c[last, tank].min() > 23.9
        assert told.temperature_c[last, tank].max() < 29.4


def test_faults_go_on_for_ever() -> None:
    """Two years on, a month has 4 to 5 a day of all three kinds, the same however the span is cut."""
    names, month = room_with(1).names, 30 * 24 * HOUR_MS
    begin = START_MS + 24 * month
    whole = schedule.later(7, START_MS, names, begin, begin + month)
    halves = [schedule.later(7, START_MS, names, begin + n * month // 2, begin + (n + 1) * month // 2) for n in (0, 1)]
    assert {fault.kind for fault in whole} == {FaultKind.AIR_LOST, FaultKind.PROBE_QUIET, FaultKind.HEATER_STUCK_ON}
    assert 4 * 30 < len(whole) < 5 * 30
    assert set(whole) == {*halves[0], *halves[1]}


def test_the_same_seed_and_start_give_the_same_readings() -> None:
    """To the last bit; another seed gives others."""
    one, two, other = (past_of(room_with(0.05, seed), START_MS) for seed in (7, 7, 8))
    assert np.array_equal(one.temperature_c, two.temperature_c)
    assert np.array_equal(one.oxygen_mg_l, two.oxygen_mg_l)
    assert one.end.opening == two.end.opening
    assert not np.array_equal(one.oxygen_mg_l, other.oxygen_mg_l)
