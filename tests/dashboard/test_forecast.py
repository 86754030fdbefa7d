"""What is expected of an animal, in words on a page: windows, chances, what they rest on, never an alarm."""

from __future__ import annotations

from dataclasses import replace

import pytest

from api.molt.outlook import Basis
from api.services.molts import ClutchOutlook, MoltOutlook
from dashboard.clock import Clock
from dashboard.forecast import clutch_lines, molt_forecast, percent, span

DAY_MS = 86_400_000
NOW_MS = 1_790_000_000_000
"""2026-09-21 14:13 UTC."""
CLOCK = Clock("UTC", NOW_MS)
SOON = MoltOutlook(
    1, NOW_MS, 0.0, 0.1, 0.3, 0.6, (), NOW_MS + 9 * DAY_MS, (NOW_MS + 5 * DAY_MS, NOW_MS + 12 * DAY_MS),
    (NOW_MS + 3 * DAY_MS, NOW_MS + 20 * DAY_MS), 0.7, 400.0, False, Basis(4, 31, 0.97, 30.0), (),
)  # fmt: skip


def test_the_windows_and_what_they_rest_on() -> None:
    """In the words the keeper asked for."""
    seen = molt_forecast(SOON, CLOCK)
    assert seen.short == "24 Sep to 11 Oct; 30 % within 7 days"
    assert seen.windows == (("half of the chance", "26 Sep to 3 Oct"), ("four fifths of it", "24 Sep to 11 Oct"))
    assert seen.chances[0] == ("within 3 days", "10 %")
    assert seen.rests_on == "4 molts of this animal, 31 of its species here; temperature known for 97 % of the interval"
    assert seen.warnings == ()


def test_late_and_held_are_told_calmly() -> None:
    """A molt that may have been missed is looked for; a berried female's clock stands still."""
    late = molt_forecast(replace(SOON, already=0.7), CLOCK)
    assert "may well have molted unseen" in late.warnings[0]
    assert molt_forecast(replace(SOON, held=True), CLOCK).short == "the clock stands still while she is berried"


@pytest.mark.parametrize(
    ("low_d", "high_d", "words"),
    [
        (-5, 2, "now to 23 Sep"),
        (3, None, "from 24 Sep on"),
        (None, None, "later than can be told"),
        (-9, -2, "now to 21 Sep"),
        (100, 140, "30 Dec to 8 Feb 2027"),
        (1, 1, "22 Sep"),
    ],
)
def test_spans_of_days(low_d: int | None, high_d: int | None, words: str) -> None:
    """A window that began is open now; an end out of sight is left open."""
    low, high = (None if days is None else NOW_MS + days * DAY_MS for days in (low_d, high_d))
    assert span(low, high, CLOCK) == words


def test_chances_are_never_certain() -> None:
    """What is merely near 0 or 100 % does not read as sure."""
    assert [percent(share) for share in (0.0, 0.004, 0.006, 0.5, 0.994, 0.999)] == [
        "below 1 %", "below 1 %", "1 %", "50 %", "99 %", "above 99 %",
    ]  # fmt: skip


def test_eggs_and_young() -> None:
    """When they should hatch, and when the mother leaves."""
    eggs = ClutchOutlook(
        0.4, NOW_MS + 5 * DAY_MS, NOW_MS + 8 * DAY_MS, NOW_MS + 12 * DAY_MS, False, None, None, 1.0, ("look well",)
    )
    assert clutch_lines(eggs, CLOCK) == (
        "Hatching expected 26 Sep to 3 Oct (80 % window); the eggs are 40 % of the way.",
        "Look well.",
    )
    young = replace(eggs, hatched=True, mother_leaves_ms=NOW_MS + 2 * DAY_MS)
    assert clutch_lines(young, CLOCK)[0] == "Take the mother out by 23 Sep."
