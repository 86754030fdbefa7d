"""The fan over a chart beside the first-order law dv/dt = k (rest - v), whose solution every textbook gives."""

from __future__ import annotations

from math import exp, log

import pytest

from api.domain.outlook import NOTHING, Outlook, TimeTo
from api.judge.fan import FanPoint, fan

START, REST, RATE_PER_H = 7.5, 1.0, 0.25


def after_h(limit: float, rate_per_h: float = RATE_PER_H) -> float:
    """When the exact course reaches a limit. [h]"""
    return log((START - REST) / (limit - REST)) / rate_per_h


def to(limit: float, *, late: bool = True) -> TimeTo:
    """The time to a limit, its interval from rates a third higher and lower."""
    hours = [after_h(limit, RATE_PER_H * share) for share in (1.0, 4 / 3, 2 / 3)]
    left, low, high = (one * 3600.0 for one in hours)
    return TimeTo(limit, left, low, high if late else None, 0.9)


def outlook(*, late: bool = True) -> Outlook:
    """Oxygen that falls towards 1 mg/L, with both limits ahead."""
    slope = RATE_PER_H * (REST - START)
    danger, tolerable = to(3.0, late=late), to(5.0)
    return Outlook(slope, 3.0, danger.left_s, danger.low_s, danger.high_s, danger, tolerable, REST)


def at(points: tuple[FanPoint, ...], seconds: float) -> FanPoint:
    """The fan at a time between two of its points."""
    before = max((one for one in points if one.after_s <= seconds), key=lambda one: one.after_s)
    behind = min((one for one in points if one.after_s >= seconds), key=lambda one: one.after_s)
    if behind is before:
        return before
    share = (seconds - before.after_s) / (behind.after_s - before.after_s)
    low, middle, high = (
        getattr(before, name) + share * (getattr(behind, name) - getattr(before, name))
        for name in ("low", "middle", "high")
    )
    return FanPoint(seconds, low, middle, high)


def test_the_middle_is_the_exact_course() -> None:
    """Each point within 1e-9 of the solution."""
    points = fan(START, outlook())
    assert len(points) > 20
    for one in points:
        exact = REST + (START - REST) * exp(-RATE_PER_H * one.after_s / 3600.0)
        assert one.middle == pytest.approx(exact, abs=1e-9)


@pytest.mark.parametrize("limit", [5.0, 3.0])
def test_the_edges_reach_each_limit_at_the_ends_of_its_interval(limit: float) -> None:
    """The lower edge at the early end, the middle at the median, the upper edge at the late end if it is shown."""
    made, points = to(limit), fan(START, outlook())
    assert at(points, made.low_s).low == pytest.approx(limit, abs=0.02)
    assert at(points, made.left_s).middle == pytest.approx(limit, abs=0.02)
    if made.high_s is not None and made.high_s <= points[-1].after_s:
        assert at(points, made.high_s).high == pytest.approx(limit, abs=0.02)
    assert all(one.low <= one.middle <= one.high for one in points)


def test_perhaps_never_stays_level() -> None:
    """The late end of the danger limit is open: after the tolerable limit its edge goes no further."""
    points = fan(START, outlook(late=False))
    late_s = to(5.0).high_s
    assert late_s is not None
    assert min(one.high for one in points) >= 5.0 - 1e-9
    nowhere = Outlook(-1.0, 3.0, 16_200.0, 9_000.0, None, TimeTo(3.0, 16_200.0, 9_000.0, None, 0.6), None, REST)
    assert all(one.high == START for one in fan(START, nowhere))


def test_without_a_value_it_tends_to_it_is_straight() -> None:
    """The straight line of an outlook that knows no more: 1 mg/L an hour from 6 to 3 mg/L."""
    points = fan(6.0, Outlook(-1.0, 3.0, 10_800.0))
    assert at(points, 3600.0).middle == pytest.approx(5.0, abs=1e-9)
    assert at(points, 10_800.0).middle == pytest.approx(3.0, abs=0.03)
    assert all(one.low == one.middle == one.high for one in points)


def test_no_limit_ahead_is_a_line_and_no_trend_is_nothing() -> None:
    """Steady water stays, water that tends somewhere goes there, and what cannot be told is not drawn."""
    assert fan(6.0, NOTHING) == ()
    assert {one.middle for one in fan(6.0, Outlook(0.0, None, None, rest=6.0))} == {6.0}
    rising = fan(24.0, Outlook(0.5, None, None, rest=25.0))
    assert rising[-1].middle == pytest.approx(25.0 - exp(-0.5), abs=1e-9)
