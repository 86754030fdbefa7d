"""The forecast as a fan over a chart: the likeliest course of the water and the ends of the 80 % interval. Pure.

A course goes through the times the forecast gave for the limits, at first order where the value it tends to is known,
straight where not. Must not do: foretell anything the forecast did not say.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import exp, log

from api.domain.outlook import Outlook, TimeTo

LEAST_S, MOST_S = 3_600.0, 86_400.0
BEYOND = 1.15
"""The fan goes on a little beyond the last limit. [1]"""
STEPS = 48
Course = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class FanPoint:
    """``after_s`` the moment of the forecast, the water is between ``low`` and ``high`` with 80 %."""

    after_s: float
    low: float
    middle: float
    high: float


def fan(value: float, outlook: Outlook) -> tuple[FanPoint, ...]:
    """The fan from a value, in its quantity's unit; empty where no trend was known."""
    if outlook.trend_per_hour is None:
        return ()
    limits = _limits(value, outlook)
    length_s = min(MOST_S, max([LEAST_S, *(one.left_s * BEYOND for one in limits)]))
    if limits:
        rest = outlook.rest
        early = _course(value, [(one.low_s, one.limit) for one in limits], rest)
        late_points = [(one.high_s, one.limit) for one in limits if one.high_s is not None]
        late = _course(value, late_points, rest if len(late_points) == len(limits) else None)
        middle = _course(value, [(one.left_s, one.limit) for one in limits], rest)
    else:
        middle = early = late = _trend(value, outlook)
    points = []
    for step in range(STEPS + 1):
        at_s = length_s * step / STEPS
        three = sorted((early(at_s), middle(at_s), late(at_s)))
        points.append(FanPoint(at_s, *three))
    return tuple(points)


def _limits(value: float, outlook: Outlook) -> list[TimeTo]:
    """The limits ahead, the nearest first; an outlook of an older kind knows only one."""
    found = [one for one in (outlook.tolerable, outlook.danger) if one is not None]
    if not found and outlook.limit is not None and outlook.left_s is not None:
        low_s = outlook.left_s if outlook.low_s is None else outlook.low_s
        high_s = outlook.left_s if outlook.low_s is None else outlook.high_s
        found = [TimeTo(outlook.limit, outlook.left_s, low_s, high_s, 1.0)]
    return sorted((one for one in found if one.left_s > 0), key=lambda one: abs(one.limit - value))


def _course(value: float, points: Sequence[tuple[float, float]], rest: float | None) -> Course:
    """A course through (seconds, value); before and between them at first order towards ``rest`` where that can be."""
    legs: list[tuple[float, float, float, float]] = []
    at_s, level = 0.0, value
    for then_s, then in points:
        if then_s > at_s and (then - level) * (points[-1][1] - value) > 0:
            legs.append((at_s, level, _rate(level, then, rest, then_s - at_s), (then - level) / (then_s - at_s)))
            at_s, level = then_s, then
    end_s, end = at_s, level

    def course(after_s: float) -> float:
        leg = next((one for one in reversed(legs) if one[0] <= after_s), None)
        if leg is None:
            return value
        begin_s, begin, rate, slope = leg
        if rate > 0.0 and rest is not None:
            return rest + (begin - rest) * exp(-rate * (after_s - begin_s))
        return end if after_s > end_s else begin + slope * (after_s - begin_s)

    return course


def _rate(level: float, then: float, rest: float | None, length_s: float) -> float:
    """How fast the first-order course goes, 0 where the value it tends to does not lie beyond the limit. [1/s]"""
    if rest is None or (rest - level) * (rest - then) <= 0 or abs(rest - then) >= abs(rest - level):
        return 0.0
    return log((level - rest) / (then - rest)) / length_s


def _trend(value: float, outlook: Outlook) -> Course:
    """No limit is ahead: at first order towards the value it tends to, or straight."""
    slope = (outlook.trend_per_hour or 0.0) / 3600.0
    away = None if outlook.rest is None else outlook.rest - value
    if away is None or away * slope <= 0:
        return lambda after_s: value + slope * min(after_s, LEAST_S)
    return lambda after_s: value + away * (1.0 - exp(-slope / away * after_s))
