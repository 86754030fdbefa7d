"""How a tank's water kept within its care range: shares of time in target, the lowest, the hours beyond, the swing.

Of the means of short spans, flagged readings left out. Must not do: guess what a gap held.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from api.domain.care import CareRange
from api.judge.conditions import DAY_MS, Means


@dataclass(frozen=True, slots=True)
class Kept:
    """A quantity over some days. Shares are of time: ``known`` of all of it, ``in_target`` of what is known (None: of
    nothing). ``below_h`` and ``above_h`` lie beyond the tolerable band, else the danger limit. ``swing`` is the
    largest difference within any 24 hours, by means of spans."""

    known: float
    in_target: float | None
    lowest: float | None
    lowest_ms: int | None
    highest: float | None
    highest_ms: int | None
    below_h: float
    above_h: float
    swing: float | None


def kept(spans: Means, care: CareRange, start_ms: int, end_ms: int) -> Kept:
    """How the water kept from start to end.

    Raises ValueError for a time that does not go on.
    """
    if end_ms <= start_ms:
        raise ValueError("the end lies before the start")
    mine = spans.since(start_ms)
    known = min(1.0, mine.start_ms.size * mine.length_ms / (end_ms - start_ms))
    if not mine.start_ms.size:
        return Kept(known, None, None, None, None, None, 0.0, 0.0, None)
    hours = mine.length_ms / 3.6e6
    inside = np.ones(mine.start_ms.size, bool)
    if care.target_low is not None:
        inside &= mine.mean >= care.target_low
    if care.target_high is not None:
        inside &= mine.mean <= care.target_high
    low, high = int(np.argmin(mine.low)), int(np.argmax(mine.high))
    below = int((mine.mean < care.alert_low).sum()) if care.alert_low is not None else 0
    above = int((mine.mean > care.alert_high).sum()) if care.alert_high is not None else 0
    return Kept(
        known, float(inside.mean()),
        float(mine.low[low]), int(mine.start_ms[low]), float(mine.high[high]), int(mine.start_ms[high]),
        below * hours, above * hours, _swing(mine),
    )  # fmt: skip


def _swing(mine: Means) -> float:
    """The largest difference within any 24 hours."""
    largest, first = 0.0, 0
    lows: list[int] = []
    highs: list[int] = []
    times, means = mine.start_ms.tolist(), mine.mean.tolist()
    for at, (time_ms, mean) in enumerate(zip(times, means, strict=True)):
        while lows and means[lows[-1]] >= mean:
            lows.pop()
        while highs and means[highs[-1]] <= mean:
            highs.pop()
        lows.append(at)
        highs.append(at)
        while times[first] <= time_ms - DAY_MS:
            first += 1
        while lows[0] < first:
            lows.pop(0)
        while highs[0] < first:
            highs.pop(0)
        largest = max(largest, means[highs[0]] - means[lows[0]])
    return largest
