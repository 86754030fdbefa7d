"""One quantity's night, worked out by hand on spans of five minutes."""

from __future__ import annotations

import pytest

from api.domain.band import Band, Side
from api.domain.care import CareRange
from api.domain.quantity import Quantity
from api.judge.night import Span, night_of

SPAN_MS = 300_000
HOUR_MS = 3_600_000
CARE = CareRange(
    Quantity.OXYGEN, target_low=6.0, target_high=9.0, tolerable_low=5.0, danger_low=3.0, change_per_day=3.0
)


def spans(*means: float, start_ms: int = 0, width: float = 0.1) -> list[Span]:
    """Spans of five minutes, each from ``width`` below to ``width`` above its mean."""
    return [(start_ms + n * SPAN_MS, mean, mean - width, mean + width) for n, mean in enumerate(means)]


def test_how_long_and_how_far() -> None:
    """An hour at 7, 30 min at 5.5, 20 at 4, 15 at 2.5, 10 at 9.5: below for 65 min, 35 beyond, 15 in danger."""
    some = spans(*[7.0] * 12, *[5.5] * 6, *[4.0] * 4, *[2.5] * 3, *[9.5] * 2, *[7.0] * 21)
    made = night_of(some, CARE, 0, 48 * SPAN_MS, SPAN_MS)
    assert made is not None
    low, high = made.outside
    assert (low.side, low.for_s, low.beyond_s, low.danger_s) == (Side.LOW, 65 * 60, 35 * 60, 15 * 60)
    assert (round(low.extreme, 9), low.extreme_ms, low.worst_band) == (2.4, 22 * SPAN_MS, Band.DANGER)
    assert (high.side, high.for_s, high.worst_band) == (Side.HIGH, 600.0, Band.TOLERABLE)
    assert (round(made.low, 9), round(made.high, 9)) == (2.4, 9.6)
    assert (made.known, made.gap_s, made.worst) == (1.0, 0.0, Band.DANGER)


def test_a_short_excursion_is_not_said() -> None:
    """Five minutes below its target; it is in the lowest value all the same."""
    made = night_of(spans(*[7.0] * 12, 5.5, *[7.0] * 11), CARE, 0, 24 * SPAN_MS, SPAN_MS)
    assert made is not None
    assert (made.outside, made.worst, round(made.low, 9)) == ((), Band.TARGET, 5.4)


@pytest.mark.parametrize(("by", "drifted"), [(-1.4, False), (-1.6, True), (1.6, True)])
def test_drift_is_the_last_hour_less_the_first(by: float, drifted: bool) -> None:
    """Half of the 3 mg/L a day may bring is the mark."""
    means = [7.5 + by * n / 95 for n in range(96)]
    made = night_of(spans(*means), CARE, 0, 96 * SPAN_MS, SPAN_MS)
    assert made is not None
    assert made.change == pytest.approx(by * 84 / 95)
    assert night_of(spans(*[7.5] * 48, *[7.5 + by] * 48), CARE, 0, 96 * SPAN_MS, SPAN_MS).drifted is drifted  # type: ignore[union-attr]


def test_gaps_are_told_and_count_nowhere() -> None:
    """Two hours of eight are missing in the middle, one at the end."""
    some = [*spans(*[7.0] * 36), *spans(*[7.0] * 24, start_ms=5 * HOUR_MS)]
    made = night_of(some, CARE, 0, 8 * HOUR_MS, SPAN_MS)
    assert made is not None
    assert (made.gap_s, made.known) == (7200.0, 5 / 8)
    assert made.worst is Band.UNKNOWN, "never silently well"
    assert night_of([], CARE, 0, HOUR_MS, SPAN_MS) is None
    with pytest.raises(ValueError, match="ends before it begins"):
        night_of([], CARE, 5, 5, SPAN_MS)


def test_without_a_range_nothing_is_outside() -> None:
    """Shown, not judged."""
    made = night_of(spans(*[2.0] * 24), None, 0, 2 * HOUR_MS, SPAN_MS)
    assert made is not None
    assert (made.outside, made.drifted) == ((), False)
