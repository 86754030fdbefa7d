"""What a probe makes of the water: it lags, it is a little off, it is noisy, and it has faults of its own.

Pure: noise is a function of seed and time, so that the same moment always reads the same. Must not round to a line's
decimals (``dialect.py``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from collector.simulated.faults import Effects, Times
from collector.simulated.oxygen import Array
from collector.simulated.state import State
from collector.simulated.tanks import Tanks

LAG_C_S, LAG_OXYGEN_S = 20.0, 35.0
"""First-order lags: a sheathed thermometer, an optical oxygen cap with 90 % after about 80 s (judgement)."""
NOISE_C, NOISE_MG_L = 0.012, 0.012
OFFSET_C, OFFSET_SHARE = 0.08, 0.008
"""Standard deviation of noise, and of what calibration left over, from probe to probe (judgement)."""


@dataclass(frozen=True, slots=True)
class Signal:
    """What the probes read, one row a moment and one column a tank; NaN where a probe is quiet."""

    temperature_c: Array
    oxygen_mg_l: Array


def follow(tanks: Tanks, state: State, faults: Effects, row: int, seconds: float) -> tuple[Array, Array]:
    """The tips' temperature [degC] and oxygen [mg/L] after ``seconds`` in this water (or air, or stuck)."""
    lifted = faults.lifted[row] > 0
    seen_c, seen_mg_l = state.temperature_c, state.oxygen_mg_l
    if lifted.any():
        # A probe that computes mg/L reads near saturation in moist air of the room's temperature.
        seen_c = np.where(lifted, state.room_c, seen_c)
        seen_mg_l = np.where(lifted, tanks.saturation_mg_l(state.room_c), seen_mg_l)
    moving = 1.0 - faults.stuck[row]
    probe_c = state.probe_c + moving * (seen_c - state.probe_c) * (1.0 - np.exp(-seconds / LAG_C_S))
    probe_mg_l = state.probe_mg_l + moving * (seen_mg_l - state.probe_mg_l) * (1.0 - np.exp(-seconds / LAG_OXYGEN_S))
    return probe_c, probe_mg_l


def calibration(seed: int, count: int) -> tuple[Array, Array]:
    """What calibration left over, probe by probe: offset of temperature [degC], factor on oxygen [1]."""
    normal = np.random.default_rng((abs(seed), 0)).standard_normal((2, count))
    return OFFSET_C * normal[0], 1.0 + OFFSET_SHARE * normal[1]


def signal(tanks: Tanks, seed: int, times_ms: Times, probe_c: Array, probe_mg_l: Array, faults: Effects) -> Signal:
    """Readings at these moments from the tips' state, with offset, noise, drift and silence."""
    noise = np.stack(
        [np.random.default_rng((abs(seed), int(time))).standard_normal((2, tanks.count)) for time in times_ms]
    )
    offset_c, factor = calibration(seed, tanks.count)
    free = 1.0 - faults.stuck
    quiet = np.where(faults.quiet > 0, np.nan, 0.0)
    temperature = probe_c + offset_c + NOISE_C * noise[:, 0] * free
    share = factor * np.maximum(0.0, 1.0 - faults.low_share)
    oxygen = np.maximum(0.0, probe_mg_l * share + NOISE_MG_L * noise[:, 1] * free)
    return Signal(temperature + quiet, oxygen + quiet)
