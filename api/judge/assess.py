"""Comparing a value with its care range. Must not do: know of time, delays or alerts (``api/judge/alert_cycle.py``)."""

from __future__ import annotations

from api.domain.band import Assessment, Band, Side
from api.domain.care import CareRange

INSIDE = Assessment(Band.TARGET, Side.WITHIN, None)
UNKNOWN = Assessment(Band.UNKNOWN, Side.WITHIN, None)


def assess(value: float | None, care: CareRange | None) -> Assessment:
    """Band of a value in its canonical unit; UNKNOWN when there is no value or no limit. Limits belong inside.

    A band that is not set is as wide as the next one outside it.
    """
    if value is None or care is None:
        return UNKNOWN
    if care.danger_low is not None and value < care.danger_low:
        return Assessment(Band.DANGER, Side.LOW, care.danger_low)
    if care.danger_high is not None and value > care.danger_high:
        return Assessment(Band.DANGER, Side.HIGH, care.danger_high)
    if care.tolerable_low is not None and value < care.tolerable_low:
        return Assessment(Band.OUTSIDE, Side.LOW, care.tolerable_low)
    if care.tolerable_high is not None and value > care.tolerable_high:
        return Assessment(Band.OUTSIDE, Side.HIGH, care.tolerable_high)
    if care.target_low is not None and value < care.target_low:
        return Assessment(Band.TOLERABLE, Side.LOW, None)
    if care.target_high is not None and value > care.target_high:
        return Assessment(Band.TOLERABLE, Side.HIGH, None)
    return INSIDE if care.limited else UNKNOWN
