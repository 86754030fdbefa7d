"""Water of invented tanks: what it was hour by hour, and what a probe kept of it.

Must not do: know an animal.
"""

from __future__ import annotations

import numpy as np

from api.molt.warmth import Warmth
from tests.trials.molt_notes import START_MS
from tests.trials.molt_truth import Floats, Truth

HOUR_MS = 3_600_000


def temperatures(truth: Truth, hours: int, rng: np.random.Generator) -> Floats:
    """A tank hour by hour: heated or not, with days, seasons and weather."""
    at_d = np.arange(hours) / 24.0
    unheated = rng.random() < 0.4
    season = (3.5 if unheated else 0.7) * np.cos(2 * np.pi * (at_d - 200.0) / 365.0)
    steps = rng.normal(0.0, 0.05, hours)
    weather = np.array(_walk(steps, 0.995))
    level = truth.species.usual_c + rng.normal(0.0, 1.5)
    out: Floats = level + season + 0.4 * np.cos(2 * np.pi * (at_d - 0.65)) + weather
    return out


def _walk(steps: Floats, kept: float) -> Floats:
    from scipy.signal import lfilter

    out: Floats = lfilter([1.0], [1.0, -kept], steps)
    return out


def recorded(values: Floats, rng: np.random.Generator) -> Warmth:
    """Means of the hours as a probe kept them: noise, an offset, and gaps from hours to weeks."""
    start_ms = START_MS + np.arange(values.size, dtype=np.int64) * HOUR_MS
    kept = np.ones(values.size, bool)
    for _ in range(rng.poisson(values.size / 24 / 60)):
        at = int(rng.integers(values.size))
        kept[at : at + int(24 * np.exp(rng.normal(0.0, 1.5)))] = False
    seen = values + rng.normal(0.0, 0.2) + rng.normal(0.0, 0.1, values.size)
    return Warmth.of_hours(start_ms[kept], seen[kept])
