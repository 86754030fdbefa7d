"""How oxygen has fallen of late: its steepest sure fall, and how suddenly it went. Pure, a fixed amount of memory.

Air that stops shows at once; demand that rises, or air that weakens, is in the water little by little. Must not do:
weigh this (``causes.py``).
"""

from __future__ import annotations

from collections import deque

from api.judge.first_order import Approach

QUARTER_MS, QUARTERS = 900_000, 12
EVERY_MS, KEPT = 290_000, 16
"""Levels are kept every five minutes, so that an hour back is there."""


class FallShape:
    """Follows one oxygen channel by its fitted level and slope."""

    __slots__ = ("_levels", "_steepest")

    def __init__(self) -> None:
        self._steepest: deque[tuple[int, float]] = deque(maxlen=QUARTERS)
        self._levels: deque[tuple[int, float]] = deque(maxlen=KEPT)

    def take(self, approach: Approach) -> None:
        """After a look: keep the level, and the steepest sure fall of each quarter of an hour, three hours back."""
        if not self._levels or approach.time_ms - self._levels[-1][0] >= EVERY_MS:
            self._levels.append((approach.time_ms, approach.level))
        if approach.slope >= 0 or approach.slope_sd > -0.25 * approach.slope:
            return
        quarter, falls = approach.time_ms // QUARTER_MS, self._steepest
        if falls and falls[-1][0] == quarter:
            falls[-1] = (quarter, min(falls[-1][1], approach.slope))
        else:
            falls.append((quarter, approach.slope))

    def steepest(self, now_ms: int) -> float:
        """The steepest sure fall of the last three hours, negative; 0 when there was none. [unit/h]"""
        now = now_ms // QUARTER_MS
        return min((slope for quarter, slope in self._steepest if now - quarter <= QUARTERS), default=0.0)

    def sudden(self, approach: Approach, least: float) -> tuple[float, float]:
        """Share of the last hour's fall that came in its last half, and of that half's in its last quarter of an hour.

        A straight fall: 0.5, as where the level fell by less than ``least`` [unit]; what began just now: 1.
        """
        levels = [self._at(approach.time_ms - back * QUARTER_MS) for back in (1, 2, 4)]
        quarter, half, hour = (one - approach.level if one is not None else None for one in levels)
        return _share(half, hour, least), _share(quarter, half, least / 2.0)

    def _at(self, time_ms: int) -> float | None:
        """The level nearest to a moment, at most ten minutes off."""
        off_ms, level = min(((abs(at_ms - time_ms), level) for at_ms, level in self._levels), default=(10**9, 0.0))
        return level if off_ms <= 2 * EVERY_MS + 30_000 else None


def _share(part: float | None, whole: float | None, least: float) -> float:
    return 0.5 if part is None or whole is None or whole < least else min(1.5, max(0.0, part / whole))
