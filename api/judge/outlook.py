"""Where a value is heading: its slope over the recent past and the time left to a limit at that rate.

Must not do: claim a trend the noise could make by itself, or look at a clock.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

from api.domain.care import CareRange
from api.domain.outlook import NOTHING, Outlook

__all__ = ["NOTHING", "Outlook", "look_ahead", "slope"]

FEWEST_POINTS = 3
SURE = 3.0
"""A slope counts when it is this many times its own standard error (judgement)."""


def slope(points: Sequence[tuple[int, float]]) -> tuple[float, float] | None:
    """Least-squares slope and its standard error, both per hour; points are (time_ms, value). None: too few."""
    count = len(points)
    if count < FEWEST_POINTS:
        return None
    hours = [(time_ms - points[0][0]) / 3.6e6 for time_ms, _ in points]
    mean_h = sum(hours) / count
    mean = sum(value for _, value in points) / count
    spread = sum((hour - mean_h) ** 2 for hour in hours)
    if spread <= 0:
        return None
    rate = sum((hour - mean_h) * (value - mean) for hour, (_, value) in zip(hours, points, strict=True)) / spread
    rest = sum((value - mean - rate * (hour - mean_h)) ** 2 for hour, (_, value) in zip(hours, points, strict=True))
    return rate, sqrt(rest / max(1, count - 2) / spread)


def look_ahead(
    points: Sequence[tuple[int, float]], care: CareRange | None, least_per_hour: float, value: float | None = None
) -> Outlook:
    """Outlook at the current rate. ``least_per_hour``: smaller slopes are called steady (0.0 in the answer).

    ``value`` is where the water stands now, if newer than the last point: a limit already passed is not ahead.

    The water approaches an equilibrium, so a straight line reaches the limit no later than the water does.
    """
    fitted = slope(points)
    if fitted is None:
        return NOTHING
    rate, error = fitted
    if abs(rate) < least_per_hour or abs(rate) < SURE * error:
        return Outlook(0.0, None, None)
    value = points[-1][1] if value is None else value
    limit = _next_limit(value, rate, care)
    if limit is None:
        return Outlook(rate, None, None)
    return Outlook(rate, limit, max(0.0, (limit - value) / rate * 3600.0))


def _next_limit(value: float, rate: float, care: CareRange | None) -> float | None:
    """The danger limit ahead, or the tolerable one where no danger limit is set; None when it is behind."""
    if care is None:
        return None
    if rate < 0:
        limit = care.danger_low if care.danger_low is not None else care.tolerable_low
        return limit if limit is not None and value > limit else None
    limit = care.danger_high if care.danger_high is not None else care.tolerable_high
    return limit if limit is not None and value < limit else None
