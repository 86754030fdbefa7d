"""How often a probe repeats itself is learned as chance has it, and a probe that stands still is told from quiet water.

Reference: readings of normal noise fall on each step with a chance p that SciPy's normal distribution gives; runs begin
on a step with p (1 - p), and their first repeat follows with p.
"""

from __future__ import annotations

from math import log

import numpy as np
import pytest
from scipy.stats import norm

from api.domain.quantity import Quantity
from api.judge.standstill import KNOWN_MS, Habit, Standstill

Q = Quantity
HOUR_MS, DAY_MS = 3_600_000, 86_400_000


@pytest.mark.parametrize(("noise", "step"), [(0.03, 0.01), (0.03, 0.0625), (0.06, 0.1)])
def test_odds_of_a_repeat_are_learned_as_chance_has_them(noise: float, step: float) -> None:
    """Ten thousand readings in the middle of a step."""
    habit, chance = Habit(), np.random.default_rng(5)
    for look, value in enumerate(np.round(noise * chance.standard_normal(10_000) / step)):
        habit.take(look * 60_000, float(value), 60_000.0)
    edges = (np.arange(-60, 61) - 0.5) * step
    share = np.diff(norm.cdf(edges, scale=noise))
    assert habit.odds()[0] == pytest.approx(
        float(np.sum(share**2 * (1 - share)) / np.sum(share * (1 - share))), abs=0.02
    )


def told(noise: float, step: float, every_s: int, stuck: bool, hours: float, days: float = 1.0) -> float | None:
    """Hours after a day at which the evidence first outweighs one chance in 30 days; before the day is an error."""
    still, chance = Standstill(), np.random.default_rng(11)
    held = (0.0, 0.0)
    for look in range(round((24.0 * days + hours) * 3600 / every_s)):
        hour = look * every_s / 3600.0
        values = [26.0 + 0.25 * np.sin(hour * 5.0), 7.4 + 0.15 * np.cos(hour / 3.8) + 0.03 * np.sin(hour * 5.0)]
        said = [float(np.round((one + noise * chance.standard_normal()) / step) * step) for one in values]
        since = hour - 24.0 * days
        if stuck and since >= 0:
            said = list(held)
        held = (said[0], said[1])
        for quantity, value in zip((Q.TEMPERATURE, Q.OXYGEN), said, strict=True):
            still.take(quantity, look * every_s * 1000, value, every_s * 1000.0)
        if still.nats(every_s * 1000.0) > log(30 * DAY_MS / (every_s * 1000.0)):
            return since
    return None


@pytest.mark.parametrize(("noise", "step"), [(0.01, 0.01), (0.03, 0.01), (0.06, 0.01), (0.06, 0.0625)])
@pytest.mark.parametrize("every_s", [30, 60, 300])
def test_a_stuck_probe_is_told_within_half_an_hour(noise: float, step: float, every_s: int) -> None:
    """And never while it lives."""
    found = told(noise, step, every_s, stuck=True, hours=1.0)
    assert found is not None
    assert 0 < found <= 0.5


@pytest.mark.parametrize(("noise", "step"), [(0.01, 0.01), (0.01, 0.1), (0.03, 0.1), (0.06, 0.1)])
@pytest.mark.parametrize("every_s", [60, 600])
def test_a_coarse_probe_in_quiet_water_is_not_stuck(noise: float, step: float, every_s: int) -> None:
    """Four days of it."""
    assert told(noise, step, every_s, stuck=False, hours=24.0, days=3.0) is None


def test_nothing_is_said_before_it_is_known_how_still_it_ever_stands() -> None:
    """A probe that has said one number since it was plugged in, or has one quantity only, or was silent for long."""
    still = Standstill()
    for look in range(0, KNOWN_MS, 60_000):
        for quantity in (Q.TEMPERATURE, Q.OXYGEN):
            still.take(quantity, look, 7.0, 60_000.0)
        assert still.nats(60_000.0) == 0.0
    single = Standstill()
    for look in range(0, DAY_MS, 60_000):
        single.take(Q.TEMPERATURE, look, 7.0, 60_000.0)
    assert single.nats(60_000.0) == 0.0
    for quantity in (Q.TEMPERATURE, Q.OXYGEN):
        still.take(quantity, KNOWN_MS + HOUR_MS, 7.0, 60_000.0)
    assert still.nats(60_000.0) == 0.0
    assert still.since_ms(60_000.0) == KNOWN_MS + HOUR_MS
