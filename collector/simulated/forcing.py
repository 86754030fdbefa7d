"""Everything that acts on the tanks without asking them: room, lights, meals, activity, faults.

Pure functions of time, worked out for many moments at once; must not depend on the state.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from collector.simulated import animals
from collector.simulated.faults import Effects, Fault, Times, effects
from collector.simulated.oxygen import Array
from collector.simulated.room_air import HOUR_MS, RoomAir
from collector.simulated.tanks import Tanks

LIGHT_FROM_H, LIGHT_UNTIL_H = 7.0, 19.0
FED_WATER_SHARE = 0.5
"""A meal raises the water's own demand by half at its peak (judgement; it doubles after overfeeding)."""


@dataclass(frozen=True, slots=True)
class Forcing:
    """One row a moment, one column a tank; ``faults`` has the same shape."""

    room_target_c: Array
    device_w: Array
    activity: Array
    water_mg_l_h: Array
    faults: Effects


def forcing(tanks: Tanks, names: Sequence[str], air: RoomAir, faults: Iterable[Fault], times_ms: Times) -> Forcing:
    """What acts on each tank at each of the moments."""
    given = tanks.given
    acting = effects(faults, names, times_ms)
    times = times_ms.astype(np.float64)
    hour = air.hour(times)
    lit = ((hour >= LIGHT_FROM_H) & (hour < LIGHT_UNTIL_H)).astype(np.float64)[:, None]
    fed = _fed(tanks, times, air)
    return Forcing(
        room_target_c=air.target_c(times)[:, None] - acting.room_fall_k,
        device_w=acting.power * (lit * given["lamp_w"] + acting.pump * given["pump_w"]),
        activity=animals.night_activity(hour, LIGHT_FROM_H, LIGHT_UNTIL_H)[:, None] * fed,
        water_mg_l_h=given["water_mg_l_h"] * (1.0 + FED_WATER_SHARE * (fed - 1.0) / animals.FED_PEAK)
        + acting.demand_mg_l_h,
        faults=acting,
    )


def _fed(tanks: Tanks, times: Array, air: RoomAir) -> Array:
    given = tanks.given
    cycle_h = 24.0 * given["meal_every_d"]
    room_h = (times / HOUR_MS + air.hours_ahead)[:, None]
    since = (room_h - given["meal_h"] - 24.0 * given["meal_first_d"]) % cycle_h
    # The meal before is still felt, so that demand does not jump down when food is given.
    fed: Array = np.maximum(animals.fed_factor(since), animals.fed_factor(since + cycle_h))
    return fed
