"""The true water of many rooms at once, and what their probes say of it. Must not do: judge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from collector.simulated.physics import Scene, arrive, march
from collector.simulated.room_air import RoomAir
from collector.simulated.state import at_rest
from collector.simulated.tanks import Tanks
from tests.trials.night_cases import BEFORE_H, HOUR_MS, MINUTE_MS, NIGHT_H, SWAPPED, Case, Room

Floats = NDArray[np.float64]
NOON_MS = 1_760_011_200_000 // 86_400_000 * 86_400_000 + 12 * HOUR_MS
BEGIN_MS = NOON_MS + (8 - BEFORE_H) * HOUR_MS
END_MS = NOON_MS + (8 + NIGHT_H) * HOUR_MS
STEP_MS = 10_000


@dataclass(frozen=True, slots=True)
class Water:
    """One row every ten seconds, one column a tank: true temperature [Cel] and oxygen [mg/L], and the probes' tips."""

    times_ms: NDArray[np.int64]
    temperature_c: Floats
    oxygen_mg_l: Floats
    probe_c: Floats
    probe_mg_l: Floats
    stuck: NDArray[np.bool_]
    quiet: NDArray[np.bool_]


def water_of(rooms: Sequence[Room]) -> Water:
    """The water of some rooms, all of one building and one weather, a day after they came to rest."""
    cases = [case for room in rooms for case in room.cases]
    rng = np.random.default_rng([7, rooms[0].seed])
    tanks = Tanks([case.spec for case in cases])
    air = RoomAir(mean_c=float(rng.uniform(20.0, 24.0)), swing_c=float(rng.uniform(0.5, 2.0)), seed=rooms[0].seed)
    faults = tuple(fault for room in rooms for fault in room.faults)
    scene = Scene(tanks, tuple(case.name for case in cases), air, faults)
    state = arrive(scene, at_rest(tanks, BEGIN_MS - 24 * HOUR_MS, air.mean_c), BEGIN_MS, 30_000)
    parts = []
    for record, _ in march(scene, state, END_MS, STEP_MS):
        at = record.values
        said_mg_l = at["probe_mg_l"] * np.maximum(0.0, 1.0 - record.faults.low_share)
        parts.append((
            record.times_ms, at["temperature_c"], at["oxygen_mg_l"], at["probe_c"], said_mg_l,
            record.faults.stuck > 0, record.faults.quiet > 0,
        ))  # fmt: skip
    water = Water(*(np.concatenate(column) for column in zip(*parts, strict=True)))
    for column, (case, other) in enumerate(pairwise(cases)):
        if case.kind == other.kind == SWAPPED:
            after = np.nonzero(water.times_ms >= case.start_ms)[0][:, None], [column, column + 1]
            for said in (water.probe_c, water.probe_mg_l):
                said[after] = said[after][:, ::-1]
    return water


@dataclass(frozen=True, slots=True)
class Said:
    """What one tank's probe says: when it was measured, when it arrives [ms], temperature [Cel] and oxygen [mg/L]."""

    time_ms: int
    arrives_ms: int
    temperature_c: float
    oxygen_mg_l: float


def said_by(water: Water, column: int, case: Case) -> list[Said]:
    """A probe's readings with its noise, its decimals and its faults, in the order in which they arrive."""
    rng = np.random.default_rng([case.seed, case.place, 3])
    step = case.every_s * 1000 // STEP_MS
    rows = slice(int(rng.integers(step)), None, step)
    times = water.times_ms[rows]
    free = ~water.stuck[rows, column]
    values = []
    for true, noise, decimals in zip(
        (water.probe_c[rows, column], water.probe_mg_l[rows, column]), case.noise, case.steps, strict=True
    ):
        read = true + noise * rng.standard_normal(times.size) * free
        if case.kind == "spikes":
            inside = (times >= case.start_ms) & (rng.random(times.size) < 0.02)
            read = read + inside * rng.choice([-1.0, 1.0], times.size) * rng.uniform(1.0, 4.0, times.size)
        values.append(np.round(read / decimals) * decimals if decimals else read)
    kept = ~water.quiet[rows, column]
    said = [
        Said(int(at), int(at), round(float(warm), 4), round(max(0.0, float(oxygen)), 4))
        for at, warm, oxygen, ok in zip(times, *values, kept, strict=True)
        if ok
    ]
    return _late(said, case) if case.kind == "late and doubled packs" else said


def _late(said: list[Said], case: Case) -> list[Said]:
    """For two hours readings come in heaps of a quarter of an hour, each heap twice."""
    until_ms = case.start_ms + 2 * HOUR_MS
    out = []
    for one in said:
        if case.start_ms <= one.time_ms < until_ms:
            arrives = (one.time_ms // (15 * MINUTE_MS) + 1) * 15 * MINUTE_MS
            heaped = Said(one.time_ms, arrives, one.temperature_c, one.oxygen_mg_l)
            out += [heaped, heaped]
        else:
            out.append(one)
    return sorted(out, key=lambda one: one.arrives_ms)
