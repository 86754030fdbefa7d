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
from api.judge.probe_health import STUCK_LEAST_MS, TOGETHER_DAYS_MS
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


def told(noise: float, step: float, every_s: int, days: float, stuck_h: float = 0.0) -> list[float]:
    """Hours after so many days at which it came to be told; for ``stuck_h`` after them the probe stands still."""
    still, chance, every_ms = Standstill(), np.random.default_rng(11), every_s * 1000.0
    held, out, above = [0.0, 0.0], list[float](), False
    for look in range(round((24.0 * days + stuck_h) * 3600 / every_s)):
        hour = look * every_s / 3600.0 - 24.0 * days
        values = [26.0 + 0.25 * np.sin(hour * 5.0), 7.4 + 0.15 * np.cos(hour / 3.8) + 0.03 * np.sin(hour * 5.0)]
        if hour < 0:
            held = [float(np.round((one + noise * chance.standard_normal()) / step) * step) for one in values]
        for quantity, value in zip((Q.TEMPERATURE, Q.OXYGEN), held, strict=True):
            still.take(quantity, look * every_s * 1000, value, every_ms)
        lasts = look * every_ms - still.still_since_ms(every_ms) >= STUCK_LEAST_MS
        before, above = above, lasts and still.nats(every_ms) > log(TOGETHER_DAYS_MS / every_ms)
        if above and not before:
            out.append(hour)
    return out


@pytest.mark.parametrize(("noise", "step"), [(0.01, 0.01), (0.03, 0.01), (0.06, 0.01), (0.06, 0.0625)])
@pytest.mark.parametrize("every_s", [60, 120, 300])
def test_a_stuck_probe_is_told_within_half_an_hour(noise: float, step: float, every_s: int) -> None:
    """And never while it lives."""
    found = told(noise, step, every_s, 1.0, stuck_h=1.0)
    assert found
    assert 0 < found[0] <= 0.5


@pytest.mark.parametrize(("noise", "step"), [(0.01, 0.01), (0.01, 0.1), (0.03, 0.1), (0.06, 0.1)])
@pytest.mark.parametrize(("every_s", "days"), [(60, 10), (600, 100)])
def test_a_live_probe_is_called_stuck_no_more_often_than_promised(
    noise: float, step: float, every_s: int, days: int
) -> None:
    """Once in ten days at most; steps of 0.1 in quiet water included."""
    assert len(told(noise, step, every_s, days)) <= days * 86_400_000 / TOGETHER_DAYS_MS


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
    assert still.still_since_ms(60_000.0) == KNOWN_MS + HOUR_MS
