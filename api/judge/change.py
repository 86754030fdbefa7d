"""How much a value has changed within an hour or a day, beside the largest change its care range allows. Pure.

Must not do: read a clock, or judge readings that failed their checks (they are in no summary).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from api.domain.alert import AlertKind, Priority
from api.domain.quantity import MEANING, Quantity
from api.domain.words import duration
from api.judge.alert_cycle import Sample

HOUR_MS, DAY_MS = 3_600_000, 86_400_000
SPANS_MS = {AlertKind.CHANGE_IN_HOUR: HOUR_MS, AlertKind.CHANGE_IN_DAY: DAY_MS}
FRESH_MS = 900_000
"""Older than this the newest span is not how it is now. [ms]"""
BACK = 0.8
"""The alert is over when the change is down to this share of what is allowed: judgement. [1]"""
Point = tuple[int, float]


@dataclass(frozen=True, slots=True)
class Change:
    """The largest change up to now: signed, in the quantity's unit, and since when."""

    by: float
    from_ms: int
    time_ms: int
    value: float


def steady(points: Sequence[Point]) -> list[Point]:
    """The points as running medians of five (three at the newest end): a probe lifted for some minutes is left out."""
    values = [value for _, value in points]
    return [(at, median(values[max(0, place - 2) : place + 3])) for place, (at, _) in enumerate(points)]


def largest(points: Sequence[Point], now_ms: int, span_ms: int) -> Change | None:
    """The change from the value furthest from the newest one within a span; None where the newest is not fresh.

    ``points`` are (middle of a short span [ms], its mean), oldest first.
    """
    if not points or now_ms - points[-1][0] > FRESH_MS:
        return None
    time_ms, value = points[-1]
    inside = [one for one in points if one[0] >= time_ms - span_ms]
    from_ms, before = max(inside, key=lambda one: abs(value - one[1]))
    return Change(value - before, from_ms, time_ms, value)


def look(kind: AlertKind, change: Change, allowed: float, quantity: Quantity, now_ms: int) -> Sample:
    """One look at a change; it begins an alert above what is allowed and ends it at ``BACK`` of that."""
    size = abs(change.by)
    if size <= allowed:
        return Sample(now_ms, None, change.value, back=size <= allowed * BACK)
    # a difference of temperatures is given in kelvin, so that it is never taken for a temperature
    unit = "K" if quantity is Quantity.TEMPERATURE else MEANING[quantity].unit_label
    took = duration((change.time_ms - change.from_ms) / 1000)
    within = "an hour" if kind is AlertKind.CHANGE_IN_HOUR else "a day"
    way = "up" if change.by > 0 else "down"
    words = f"{way} by {size:.1f} {unit} in {took}, {allowed:g} {unit} in {within} allowed"
    return Sample(now_ms, Priority.TODAY, change.value, back=False, since_ms=change.from_ms, doubt=words)
