"""A quantity over time: never more points than asked for, every peak inside low to high, gaps as gaps."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.domain.errors import InputError, NotFound
from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag, RawReading
from api.services.answers import SeriesLine
from api.services.series import span_for
from tests.support.rooms import TestRoom, room

Q = Quantity
DAY_MS = 86_400_000


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks."""
    with room(tmp_path) as one:
        yield one


def keep(lab: TestRoom, times_ms: list[int], values: list[float]) -> None:
    """Temperatures of p1."""
    rows = [
        CheckedReading("p1", Q.TEMPERATURE, t, v, "Cel", v, Flag.GOOD) for t, v in zip(times_ms, values, strict=True)
    ]
    lab.service.store.write(lambda: lab.service.store.readings.append(rows)).result()


def line(lab: TestRoom, length_ms: int, points: int = 1500) -> SeriesLine:
    """p1's line up to now."""
    end_ms = lab.now_ms + 1
    return lab.service.read.series("t1", Q.TEMPERATURE, end_ms - length_ms, end_ms, points).lines[0]


@pytest.mark.parametrize("days", [1, 3, 30, 370, 3700])
@pytest.mark.parametrize("points", [10, 300, 1500])
def test_spans_cover_any_length_in_few_enough_points(days: int, points: int) -> None:
    """A span is a multiple of a kept summary, and so many of them cover the whole."""
    span_s = span_for(days * 86_400, points)
    assert span_s % 300 == 0
    assert -(-days * 86_400 // span_s) + 1 <= points


def test_a_month_keeps_its_peak(lab: TestRoom) -> None:
    """43,200 readings, one of them high for a single minute."""
    times_ms = [lab.now_ms - n * 60_000 for n in range(43_200)]
    values = [25.0 + (n % 7) / 10 for n in range(43_200)]
    values[12_345] = 33.3
    keep(lab, times_ms, values)
    found = line(lab, 30 * DAY_MS)
    assert len(found.points) <= 1500
    inside = next(p for p in found.points if abs(p.time_ms - times_ms[12_345]) <= found.span_s * 500)
    assert inside.high == 33.3
    assert all(p.low <= p.mean <= p.high for p in found.points if None not in (p.low, p.mean, p.high))  # type: ignore[operator]


def test_sparse_readings_do_not_exceed_the_points(lab: TestRoom) -> None:
    """A reading every two hours of a probe said to speak every minute: each stands alone, with gaps between."""
    times_ms = [lab.now_ms - n * 7_200_000 for n in range(1400)]
    keep(lab, times_ms, [25.0 + n / 1000 for n in range(1400)])
    found = line(lab, 1401 * 7_200_000)
    assert len(found.points) <= 1500
    assert max(p.high for p in found.points if p.high is not None) == 25.0 + 1.399


@settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(st.integers(0, 3 * 86_400), min_size=1, max_size=400, unique=True),
    st.integers(10, 60),
    st.integers(3600, 4 * 86_400),
)
def test_any_readings_any_span(
    tmp_path_factory: pytest.TempPathFactory, ages_s: list[int], points: int, length_s: int
) -> None:
    """Few enough points, rising times, and the extremes of what was read inside are those of the line."""
    with room(tmp_path_factory.mktemp("room")) as lab:
        values = {lab.now_ms - age * 1000: 20 + (age * 7919 % 1000) / 100 for age in ages_s}
        keep(lab, list(values), list(values.values()))
        found = line(lab, length_s * 1000, points)
        inside = [v for t, v in values.items() if t > lab.now_ms - length_s * 1000]
        assert len(found.points) <= points
        times_ms = [p.time_ms for p in found.points]
        assert times_ms == sorted(times_ms)
        if inside:
            assert max(p.high for p in found.points if p.high is not None) >= max(inside)
            assert min(p.low for p in found.points if p.low is not None) <= min(inside)


def test_a_gap_is_a_gap_at_every_scale(lab: TestRoom) -> None:
    """Two hours without readings are an empty point between, as single readings and as spans."""
    times_ms = [lab.now_ms - n * 60_000 for n in range(600) if not 200 <= n < 320]
    keep(lab, times_ms, [25.0] * len(times_ms))
    for points in (1500, 100):
        found = line(lab, 600 * 60_000, points)
        empty = [p.time_ms for p in found.points if p.mean is None]
        assert len(empty) == 1
        assert times_ms[200] < empty[0] < times_ms[199]


def test_a_slower_logger_keeps_its_line(lab: TestRoom) -> None:
    """Six hours of a logger every ten minutes, one row of it missing, then the probe every minute: one gap."""
    slow = [lab.now_ms - 7_200_000 - n * 600_000 for n in range(36) if n != 20]
    quick = [lab.now_ms - n * 60_000 for n in range(120)]
    keep(lab, [*slow, *quick], [25.0] * (len(slow) + len(quick)))
    found = line(lab, 30_000_000)
    empty = [point.time_ms for point in found.points if point.mean is None]
    assert empty == [lab.now_ms - 7_200_000 - 20 * 600_000]


def test_a_probe_that_dies_is_not_joined_up(lab: TestRoom) -> None:
    """Steps of 10, 25, 5, 60 minutes are no pace."""
    ages_min = [0, 1, 2, 12, 37, 42, 102, 103]
    keep(lab, [lab.now_ms - age * 60_000 for age in ages_min], [25.0] * len(ages_min))
    assert sum(point.mean is None for point in line(lab, 7_200_000).points) == 4


def test_units_and_flags(lab: TestRoom) -> None:
    """Fahrenheit where asked for, its care range still canonical; a suspect reading is counted as flagged."""
    lab.take(
        RawReading("p1", Q.TEMPERATURE, lab.now_ms - 60_000, 25.0, "Cel"),
        RawReading("p1", Q.TEMPERATURE, lab.now_ms, 50.0, "Cel"),
    )
    series = lab.service.read.series("t1", Q.TEMPERATURE, lab.now_ms - DAY_MS, lab.now_ms + 1, 100, "[degF]")
    assert [(p.mean, p.flagged) for p in series.lines[0].points] == [(77.0, 0), (122.0, 1)]
    assert series.unit == "[degF]"


def test_questions_that_make_no_sense(lab: TestRoom) -> None:
    """No such tank, no such span, no such unit."""
    ask = lab.service.read.series
    with pytest.raises(NotFound, match="no tank 'x'"):
        ask("x", Q.TEMPERATURE, 0, 1)
    with pytest.raises(InputError, match="start must lie before its end"):
        ask("t1", Q.TEMPERATURE, 5, 5)
    with pytest.raises(InputError, match="use one of: Cel"):
        ask("t1", Q.TEMPERATURE, 0, 1, 100, "furlong")
    assert ask("t1", Q.TEMPERATURE, 0, 1).lines == ()
