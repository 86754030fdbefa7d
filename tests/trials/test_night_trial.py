"""The night trial in a short form: what must never happen, and that its marks can be bad.

The full form (``python -m tests.trials.night``) prints every target; those that are missed stand in the README.
"""

from __future__ import annotations

from tests.trials.night import by_kind, nights, table, targets
from tests.trials.night_scores import Marks

FIRST, NIGHTS = 2_000_000, 120


def test_danger_is_told_before_it_comes_and_good_nights_wake_nobody() -> None:
    """On rooms that were never used for tuning."""
    marks = nights(NIGHTS, FIRST)
    print("\n".join([*table(marks), *by_kind(marks)]))
    assert len(marks) == NIGHTS
    assert [one.because for one in marks if one.before is False] == []
    assert [one.because for one in marks if one.urgent] == []
    assert sum(one.before is True for one in marks) >= 3


def test_bad_nights_miss_the_targets() -> None:
    """A danger that was told late, an urgent good night, a lie nobody heard of, a wrong cause."""
    bad = [
        Marks(1, 0, "air stops", 40.0, 60, before=False, lead_s=60.0, cause_right=False, held=[False], hour_error=0.5),
        Marks(1, 1, "nothing", 40.0, 60, urgent=1),
        Marks(1, 2, "probe stuck", 40.0, 60, lied_told=False),
    ]
    assert [one.met for one in targets(bad)] == [False] * 8
