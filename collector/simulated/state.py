"""What a simulated room remembers from one moment to the next.

Must not do: move in time (``physics.py``) or reach the disk (``saved.py``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from collector.simulated.oxygen import Array
from collector.simulated.tanks import Tanks

NAMES = ("room_c", "temperature_c", "oxygen_mg_l", "heater_on", "probe_c", "probe_mg_l")


@dataclass(frozen=True, slots=True)
class State:
    """Every tank at one moment; ``heater_on`` is 0 or 1, ``probe_*`` what lags behind in the probe's tip."""

    time_ms: int
    room_c: Array
    temperature_c: Array
    oxygen_mg_l: Array
    heater_on: Array
    probe_c: Array
    probe_mg_l: Array


def at_rest(tanks: Tanks, time_ms: int, room_c: float = 24.0) -> State:
    """A plausible beginning: water at the heater's setting, oxygen a little below saturation."""
    water_c = np.maximum(tanks.given["heater_set_c"], room_c)
    oxygen = 0.97 * tanks.saturation_mg_l(water_c)
    return State(
        time_ms,
        np.full(tanks.count, room_c),
        water_c,
        oxygen,
        np.zeros(tanks.count),
        water_c.copy(),
        oxygen.copy(),
    )


def pick(state: State, which: list[int]) -> State:
    """The same moment for some of the tanks, in the order asked; a tank may be asked for more than once."""
    return State(state.time_ms, **{name: getattr(state, name)[which].copy() for name in NAMES})
