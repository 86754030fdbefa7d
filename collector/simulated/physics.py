"""The water moving in time: one exact step while all around it stands still, and many steps in a row.

Pure: no clock, no file, no random numbers; a step may be as long as the surroundings stay as they are (10 s is usual).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields

import numpy as np

from collector.simulated import animals, heat, probe_signal
from collector.simulated.faults import Effects, Fault, Times, effects
from collector.simulated.forcing import Forcing, forcing
from collector.simulated.oxygen import HALF_DEMAND_MG_L, Array
from collector.simulated.room_air import HOUR_MS, RoomAir
from collector.simulated.state import NAMES, State
from collector.simulated.tanks import Tanks

STEP_MS = 10_000
TEMPERATURE_FACTOR = 1.024
"""kLa(T) = kLa20 x 1.024^(T - 20), ASCE/EWRI 2-06."""
CELLS = 50_000
"""Moments times tanks worked out at once, so that thousands of tanks fit in memory."""


@dataclass(frozen=True, slots=True)
class Scene:
    """All that stays the same while the water moves."""

    tanks: Tanks
    names: tuple[str, ...]
    air: RoomAir
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True, slots=True)
class Record:
    """A stretch of moments: times, the state's arrays one row a moment, and the faults of those moments."""

    times_ms: Times
    values: dict[str, Array]
    faults: Effects

    @classmethod
    def of(cls, scene: Scene, states: Sequence[State]) -> Record:
        """The record of these states."""
        times = np.array([state.time_ms for state in states], dtype=np.int64)
        values = {name: np.array([getattr(state, name) for state in states]) for name in NAMES}
        return cls(times, values, effects(scene.faults, scene.names, times))

    def since(self, start_ms: int) -> Record:
        """The moments from ``start_ms`` on."""
        first = int(np.searchsorted(self.times_ms, start_ms))
        faults = {field.name: getattr(self.faults, field.name)[first:] for field in fields(Effects)}
        return Record(
            self.times_ms[first:], {name: rows[first:] for name, rows in self.values.items()}, Effects(**faults)
        )


def approach(value: Array, gain: Array, rate: Array, time: float) -> Array:
    """Solve x' = gain - rate x exactly over ``time``; rate must be above zero."""
    rest = gain / rate
    result: Array = rest + (value - rest) * np.exp(-rate * time)
    return result


def step(scene: Scene, state: State, acting: Forcing, row: int, until_ms: int) -> State:
    """The room at ``until_ms``, given what acts during the step (row ``row`` of ``acting``)."""
    hours = (until_ms - state.time_ms) / HOUR_MS
    room_c = acting.room_target_c[row] + (state.room_c - acting.room_target_c[row]) * np.exp(-hours / scene.air.slow_h)
    heater = _thermostat(scene.tanks, state, acting, row)
    temperature_c = _warmth(scene.tanks, state, acting, row, heater, hours)
    oxygen = _oxygen(scene.tanks, state, acting, row, temperature_c, hours)
    water = State(until_ms, room_c, temperature_c, oxygen, heater, state.probe_c, state.probe_mg_l)
    probe_c, probe_mg_l = probe_signal.follow(scene.tanks, water, acting.faults, row, hours * 3600.0)
    return State(until_ms, room_c, temperature_c, oxygen, heater, probe_c, probe_mg_l)


def _thermostat(tanks: Tanks, state: State, acting: Forcing, row: int) -> Array:
    called = (state.temperature_c < tanks.heater_on_c) | (
        (state.heater_on > 0) & (state.temperature_c < tanks.heater_off_c)
    )
    faults = acting.faults
    heater: Array = np.maximum(called * (1.0 - faults.heater_dead[row]), faults.heater_stuck[row]) * faults.power[row]
    return heater


def _warmth(tanks: Tanks, state: State, acting: Forcing, row: int, heater: Array, hours: float) -> Array:
    change = acting.faults.change_per_h[row]
    given_w = (
        tanks.given["heater_w"] * heater
        + acting.device_w[row]
        - heat.evaporation_w(state.temperature_c, state.room_c, tanks.evaporating_m2)
    )
    per_h = 3600.0 / tanks.capacity_j_k
    rate = tanks.loss_w_k * per_h + change
    return approach(state.temperature_c, given_w * per_h + rate * state.room_c, rate, hours)


def _oxygen(tanks: Tanks, state: State, acting: Forcing, row: int, temperature_c: Array, hours: float) -> Array:
    change = acting.faults.change_per_h[row]
    warm = temperature_c - 20.0
    exchange = (tanks.still_per_h + acting.faults.air[row] * tanks.aired_per_h) * TEMPERATURE_FACTOR**warm + change
    demand = tanks.kg_per_l * animals.rate_mg_kg_h(temperature_c, acting.activity[row], tanks.size_factor)
    demand = demand + acting.water_mg_l_h[row] * animals.Q10 ** (warm / 10.0)
    limited = demand / (state.oxygen_mg_l + HALF_DEMAND_MG_L)
    return approach(state.oxygen_mg_l, exchange * tanks.saturation_mg_l(temperature_c), exchange + limited, hours)


def march(
    scene: Scene, state: State, until_ms: int, step_ms: int = STEP_MS, every: int = 1
) -> Iterator[tuple[Record, State]]:
    """Move to ``until_ms`` in stretches, each with the record of every ``every``-th step and the state at its end.

    Steps end on ``state.time_ms`` + k x ``step_ms``; the last may be shorter and is always recorded; with ``every`` 0
    only the last is.
    """
    rows = max(1, CELLS // max(1, scene.tanks.count))
    rows = max(every, rows // every * every) if every else rows
    while state.time_ms < until_ms:
        ends = np.arange(state.time_ms + step_ms, min(until_ms, state.time_ms + rows * step_ms) + 1, step_ms)
        if len(ends) < rows and (len(ends) == 0 or ends[-1] < until_ms):
            ends = np.append(ends, until_ms)
        starts = np.concatenate(([state.time_ms], ends[:-1]))
        acting = forcing(scene.tanks, scene.names, scene.air, scene.faults, starts)
        kept: list[State] = []
        for row, end in enumerate(ends):
            state = step(scene, state, acting, row, int(end))
            if end == until_ms or (every and (row + 1) % every == 0):
                kept.append(state)
        yield Record.of(scene, kept), state


def arrive(scene: Scene, state: State, until_ms: int, step_ms: int = STEP_MS) -> State:
    """The state at ``until_ms``, without a record."""
    end = state
    for _, end in march(scene, state, until_ms, step_ms, every=0):  # noqa: B007 - the last one is what is wanted
        pass
    return end
