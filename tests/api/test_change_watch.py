"""Changes step by step are those that the rule over all points finds; long records are screened without losing any."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.domain.alert import AlertEvent, AlertKind, Event, Subject
from api.domain.quantity import Quantity
from api.judge.alert_cycle import Track, step
from api.judge.change import BACK, HOUR_MS, SPANS_MS, largest, look, steady
from api.judge.change_watch import STEP_MS, STEPWISE, ChangeWatch, changes_over, stretches

HOUR, DAY = AlertKind.CHANGE_IN_HOUR, AlertKind.CHANGE_IN_DAY
T = Quantity.TEMPERATURE
walks = st.lists(st.tuples(st.integers(1, 5), st.floats(-1.0, 1.0, allow_nan=False)), min_size=1, max_size=400)


def walked(steps: list[tuple[int, float]]) -> list[tuple[int, float]]:
    """Points in the middle of five-minute spans, some of them missing."""
    points, cell, value = [], 0, 25.0
    for ahead, by in steps:
        cell, value = cell + ahead, value + by
        points.append((cell * STEP_MS + STEP_MS // 2, value))
    return points


@settings(deadline=None, max_examples=60)
@given(walks, st.sampled_from([HOUR, DAY]))
def test_step_by_step_is_the_rule_over_all_points(steps: list[tuple[int, float]], kind: AlertKind) -> None:
    """At every point the same size, by the plain rule of ``change.py`` over everything up to then."""
    points, watch = walked(steps), ChangeWatch(kind)
    for place, (time_ms, value) in enumerate(points):
        found = watch.point(time_ms, value)
        plain = largest(steady(points[: place + 1]), time_ms, SPANS_MS[kind])
        assert plain is not None
        assert abs(found.by) == pytest.approx(abs(plain.by), abs=1e-9)
        assert found.value == pytest.approx(plain.value, abs=1e-9)


@settings(deadline=None, max_examples=60)
@given(walks, st.floats(0.2, 8.0), st.sampled_from([HOUR, DAY]))
def test_screening_loses_no_change(steps: list[tuple[int, float]], allowed: float, kind: AlertKind) -> None:
    """The alerts of the screened record are those of every single point."""
    points, watch = walked(steps), ChangeWatch(kind)
    every = [look(kind, watch.point(*one), allowed, T, one[0]) for one in points]
    times, means = np.array([t for t, _ in points], np.int64), np.array([v for _, v in points])
    some = [sample for _, sample in changes_over(times, means, [(kind, allowed)], T)]
    told = []
    for samples in (every, some):
        track, events = Track(Subject("t1", kind, "p1", T)), []
        for one in samples:
            track, happened = step(track, one, STEPWISE)
            events += [(event.event, event.time_ms) for event in happened]
        told.append(events)
    assert told[0] == told[1]


def test_readings_are_gathered_into_spans() -> None:
    """Three readings within five minutes are one mean, told when the next span begins."""
    watch = ChangeWatch(HOUR)
    assert [watch.take(at, value) for at, value in ((0, 20.0), (60_000, 21.0), (120_000, 22.0))] == [None] * 3
    closed = watch.take(STEP_MS, 25.0)
    assert closed is not None
    assert (closed.value, closed.time_ms) == (21.0, STEP_MS // 2)


def test_an_hour_of_warming_is_told_and_a_calm_year_is_passed_over() -> None:
    """2 K within an hour in a year of a calm tank: one stretch, one alert, begun and over."""
    times = np.arange(105_120, dtype=np.int64) * STEP_MS + STEP_MS // 2
    means = 25.0 + 0.3 * np.sin(np.arange(105_120) / 288 * 6.283)
    assert stretches(times, means, SPANS_MS[DAY], 3.0) == []
    means[50_000:50_012] += np.linspace(0, 2, 12)
    means[50_012:] += 2.0
    found = list(changes_over(times, means, [(HOUR, 1.0), (DAY, 3.0)], T))
    assert 12 < len(found) < 400, "of 105,120"
    track, events = Track(Subject("t1", HOUR, "p1", T)), list[AlertEvent]()
    for _, one in (pair for pair in found if pair[0] is HOUR):
        track, happened = step(track, one, STEPWISE)
        events += happened
    assert [event.event for event in events] == [Event.RAISED, Event.RETURNED]
    assert events[0].time_ms - times[50_000] < HOUR_MS
    assert "K in an hour allowed" in events[0].doubt
    assert BACK < 1.0
