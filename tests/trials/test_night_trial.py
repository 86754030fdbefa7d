"""The night trial in its short form: 300 tank-nights, their table in ``tests/output/night_trial.md``.

The full form (``python -m tests.trials.night``) prints every target; those that are missed stand in the README.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.trials.night import by_kind, failed, nights, table, targets
from tests.trials.night_scores import Marks

FIRST, NIGHTS = 2_000_000, 300
HARD = ("probe stuck", "probe drifting", "probes swapped")
"""A reading every ten minutes, or in steps of 0.1 in still water, says too little in half an hour."""
OUTPUT = Path(__file__).parents[1] / "output"


@pytest.fixture(scope="module")
def marks() -> list[Marks]:
    """Rooms that were never used for tuning."""
    found = nights(NIGHTS, FIRST)
    text = "\n".join([*table(found), "", *by_kind(found), "", *failed(found, 40)])
    OUTPUT.mkdir(exist_ok=True)
    (OUTPUT / "night_trial.md").write_text(f"{NIGHTS} tank-nights, seeds from {FIRST}\n\n{text}\n", encoding="utf-8")
    print(text)
    return found


def test_danger_is_told_before_it_comes_and_good_nights_wake_nobody(marks: list[Marks]) -> None:
    """Which is the least: no night of either may fail."""
    assert len(marks) == NIGHTS
    assert [one.because for one in marks if one.before is False] == []
    assert [one.because for one in marks if one.urgent] == []
    assert sum(one.before is True for one in marks) >= 10


def test_targets_are_met(marks: list[Marks]) -> None:
    """All but one: of lies the full form misses some, so here only their kinds are held to what can be told."""
    missed = {one.name: one.ours for one in targets(marks) if not one.met}
    assert missed.keys() <= {"lying or silent probe told in time"}, missed
    late = [(one.kind, one.every_s, one.because) for one in marks if one.lied_told is False]
    assert all(kind in HARD for kind, _, _ in late), late
    assert len(late) <= 0.05 * sum(one.lied_told is not None for one in marks), late


def test_bad_nights_miss_the_targets() -> None:
    """A danger that was told late, an urgent good night, a lie nobody heard of, a wrong cause."""
    bad = [
        Marks(1, 0, "air stops", 40.0, 60, before=False, lead_s=60.0, cause_right=False, held=[False], hour_error=0.5),
        Marks(1, 1, "nothing", 40.0, 60, urgent=1),
        Marks(1, 2, "probe stuck", 40.0, 60, lied_told=False),
    ]
    assert [one.met for one in targets(bad)] == [False] * 8
