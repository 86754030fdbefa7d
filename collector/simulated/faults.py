"""What can go wrong in a room, as a schedule of data, and what each entry does at each moment.

Pure functions of time; must not decide which faults there are (``schedule.py``).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from collector.simulated.oxygen import Array
from collector.simulated.room_air import DAY_MS, HOUR_MS

Times = NDArray[np.int64]


class FaultKind(StrEnum):
    """Kinds of fault, and what ``strength`` means for each."""

    AIR_LOST = "air_lost"  # share of the air flow lost: 1 stops it
    HEATER_STUCK_ON = "heater_stuck_on"  # not used
    HEATER_DEAD = "heater_dead"  # not used
    WATER_CHANGE = "water_change"  # share of the water changed for water at room temperature
    ROOM_HEATING_LOST = "room_heating_lost"  # kelvin the room's air falls in the end
    POWER_CUT = "power_cut"  # kelvin the room's air falls in the end; air, heaters, lamps and pumps stop
    FILTER_STOPPED = "filter_stopped"  # share of the exchange with air that the filter's current made
    DEMAND_RISES = "demand_rises"  # mg/L per hour the water takes more
    PROBE_QUIET = "probe_quiet"  # not used
    PROBE_STUCK = "probe_stuck"  # not used: the reading stands still
    PROBE_DRIFT = "probe_drift"  # share of the oxygen reading lost per day (fouling)
    PROBE_LIFTED = "probe_lifted"  # not used: the probe hangs in the air


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of one tank (or, with ``tank`` None, of all), from ``start_ms`` until before ``end_ms``."""

    kind: FaultKind
    tank: str | None
    start_ms: int
    end_ms: int
    strength: float = 1.0


@dataclass(frozen=True, slots=True)
class Effects:
    """What the faults do, one row a moment and one column a tank."""

    air: Array
    heater_stuck: Array
    heater_dead: Array
    change_per_h: Array
    room_fall_k: Array
    power: Array
    quiet: Array
    stuck: Array
    low_share: Array
    lifted: Array
    pump: Array
    demand_mg_l_h: Array


def effects(faults: Iterable[Fault], tanks: Sequence[str], times_ms: Times) -> Effects:
    """Lay the schedule over the moments asked for; entries for tanks not in ``tanks`` are left out."""
    shape = (len(times_ms), len(tanks))
    result = Effects(
        air=np.ones(shape),
        heater_stuck=np.zeros(shape),
        heater_dead=np.zeros(shape),
        change_per_h=np.zeros(shape),
        room_fall_k=np.zeros(shape),
        power=np.ones(shape),
        quiet=np.zeros(shape),
        stuck=np.zeros(shape),
        low_share=np.zeros(shape),
        lifted=np.zeros(shape),
        pump=np.ones(shape),
        demand_mg_l_h=np.zeros(shape),
    )
    column = {tank: index for index, tank in enumerate(tanks)}
    for fault in faults:
        if fault.tank is not None and fault.tank not in column:
            continue
        rows = (times_ms >= fault.start_ms) & (times_ms < fault.end_ms)
        if rows.any():
            columns = slice(None) if fault.tank is None else slice(column[fault.tank], column[fault.tank] + 1)
            _apply(fault, result, rows, columns, times_ms)
    result.air[...] *= result.power
    return result


def _apply(fault: Fault, to: Effects, rows: NDArray[np.bool_], columns: slice, times_ms: Times) -> None:
    at = np.ix_(rows, np.arange(to.air.shape[1])[columns])
    match fault.kind:
        case FaultKind.AIR_LOST:
            to.air[at] *= max(0.0, 1.0 - fault.strength)
        case FaultKind.HEATER_STUCK_ON:
            to.heater_stuck[at] = 1.0
        case FaultKind.HEATER_DEAD:
            to.heater_dead[at] = 1.0
        case FaultKind.WATER_CHANGE:
            hours = (fault.end_ms - fault.start_ms) / HOUR_MS
            to.change_per_h[at] += -np.log(max(1e-6, 1.0 - fault.strength)) / hours
        case FaultKind.ROOM_HEATING_LOST:
            to.room_fall_k[at] += fault.strength
        case FaultKind.POWER_CUT:
            to.power[at] = 0.0
            to.room_fall_k[at] += fault.strength
        case FaultKind.FILTER_STOPPED:
            to.air[at] *= max(0.0, 1.0 - fault.strength)
            to.pump[at] = 0.0
        case FaultKind.DEMAND_RISES:
            to.demand_mg_l_h[at] += fault.strength
        case FaultKind.PROBE_QUIET:
            to.quiet[at] = 1.0
        case FaultKind.PROBE_STUCK:
            to.stuck[at] = 1.0
        case FaultKind.PROBE_DRIFT:
            to.low_share[at] += (fault.strength * (times_ms[rows] - fault.start_ms) / DAY_MS)[:, None]
        case FaultKind.PROBE_LIFTED:
            to.lifted[at] = 1.0
