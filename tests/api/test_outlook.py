"""Trend and time left: a straight fall is told exactly, noise is not called a trend."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.domain.care import CareRange
from api.domain.quantity import Quantity
from api.judge.outlook import NOTHING, look_ahead, slope

OXYGEN = CareRange(Quantity.OXYGEN, target_low=6, tolerable_low=5, danger_low=3, tolerable_high=12, danger_high=20)
STEP_MS = 300_000


def line(start: float, per_hour: float, count: int = 8) -> list[tuple[int, float]]:
    """Values every five minutes."""
    return [(n * STEP_MS, start + per_hour * n / 12) for n in range(count)]


def test_a_straight_fall() -> None:
    """From 6.0 falling 1.2 mg/L per hour to 5.3: 2.3 mg/L above danger is 6900 s away."""
    ahead = look_ahead(line(6.0, -1.2), OXYGEN, 0.1)
    assert ahead.trend_per_hour == pytest.approx(-1.2)
    assert ahead.limit == 3.0
    assert ahead.left_s == pytest.approx(2.3 / 1.2 * 3600)


def test_a_rise_heads_for_the_other_limit() -> None:
    """Danger above; with no danger limit the tolerable one; with neither, no time left is claimed."""
    assert look_ahead(line(9.0, 3.0), OXYGEN, 0.1).limit == 20
    no_danger = CareRange(Quantity.OXYGEN, tolerable_low=5, tolerable_high=12)
    assert look_ahead(line(9.0, 1.0), no_danger, 0.1).limit == 12
    ahead = look_ahead(line(9.0, 1.0), CareRange(Quantity.OXYGEN, tolerable_low=5), 0.1)
    assert (ahead.limit, ahead.left_s) == (None, None)
    assert ahead.trend_per_hour == pytest.approx(1.0)
    assert look_ahead(line(9.0, 1.0), None, 0.1).left_s is None


def test_beyond_the_danger_limit_no_time_is_left_to_tell() -> None:
    """The limit is behind."""
    assert look_ahead(line(2.9, -1.0), OXYGEN, 0.1).left_s is None


@pytest.mark.parametrize("points", [[], line(6.0, -1.0, 1), line(6.0, -1.0, 2), [(5, 1.0)] * 6])
def test_too_little_to_tell(points: list[tuple[int, float]]) -> None:
    """Fewer than three points, or all at one time."""
    assert look_ahead(points, OXYGEN, 0.1) == NOTHING


def test_slow_drift_is_steady() -> None:
    """Below the least slope worth saying."""
    assert look_ahead(line(6.0, -0.05), OXYGEN, 0.1).trend_per_hour == 0.0


def test_noise_is_rarely_called_a_trend() -> None:
    """Steady water under 0.05 mg/L of noise: Student's t with 6 degrees of freedom passes 3 in 2.4 % of cases."""
    rng = random.Random(5)
    called = sum(
        look_ahead([(n * STEP_MS, 7.0 + rng.gauss(0, 0.05)) for n in range(8)], OXYGEN, 0.0).trend_per_hour != 0.0
        for _ in range(500)
    )
    assert called <= 500 * 0.05


@given(st.floats(3.5, 11.5), st.floats(-5, 5), st.integers(3, 12))
def test_the_fit_is_exact_on_a_line(start: float, per_hour: float, count: int) -> None:
    """Whatever the line, and its standard error is nothing."""
    fitted = slope(line(start, per_hour, count))
    assert fitted is not None
    assert fitted[0] == pytest.approx(per_hour, abs=1e-9)
    assert fitted[1] == pytest.approx(0.0, abs=1e-6)
