"""How oxygen has fallen of late: its steepest sure fall, and how suddenly it went. Pure, a fixed amount of memory.

Air that stops shows at once; demand that rises, or air that weakens, is in the water little by little. Must not do:
weigh this (``causes.py``).
"""

from __future__ import annotations

from api.judge.first_order import Approach

QUARTER_MS, QUARTERS = 900_000, 12
EVERY_MS, KEPT = 290_000, 16
"""Levels are kept every five minutes, so that an hour back is there."""


class FallShape:
    """Follows one oxygen channel by its fitted level and slope."""

    __slots__ = ("_fell", "_kept_ms", "_levels", "_next", "_steepest")

    def __init__(self) -> None:
        self._steepest = [[-1.0, 0.0] for _ in range(QUARTERS)]
        self._levels = [[-1.0, 0.0] for _ in range(KEPT)]
        self._fell = self._next = 0
        self._kept_ms = -1

    def keep(self, approach: Approach) -> None:
        """After a look: keep the level, and the steepest sure fall of each quarter of an hour, three hours back."""
        if self._kept_ms < 0 or approach.time_ms - self._kept_ms >= EVERY_MS:
            level = self._levels[self._next]
            level[0], level[1] = float(approach.time_ms), approach.level
            self._kept_ms, self._next = approach.time_ms, (self._next + 1) % KEPT
        slope = approach.slope
        if slope >= 0 or approach.slope_sd > -0.25 * slope:
            return
        quarter, fall = approach.time_ms // QUARTER_MS, self._steepest[self._fell]
        if fall[0] != quarter:
            self._fell = (self._fell + 1) % QUARTERS
            fall = self._steepest[self._fell]
            fall[0], fall[1] = float(quarter), slope
        elif slope < fall[1]:
            fall[1] = slope

    def steepest(self, now_ms: int) -> float:
        """The steepest sure fall of the last three hours, negative; 0 when there was none. [unit/h]"""
        now = now_ms // QUARTER_MS
        return min((slope for quarter, slope in self._steepest if quarter >= max(0, now - QUARTERS)), default=0.0)

    def sudden(self, approach: Approach, least: float) -> tuple[float, float]:
        """Share of the last hour's fall that came in its last half, and of that half's in its last quarter of an hour.

        A straight fall: 0.5, as where the level fell by less than ``least`` [unit]; what began just now: 1.
        """
        levels = [self._at(approach.time_ms - back * QUARTER_MS) for back in (1, 2, 4)]
        quarter, half, hour = (one - approach.level if one is not None else None for one in levels)
        return _share(half, hour, least), _share(quarter, half, least / 2.0)

    def _at(self, time_ms: int) -> float | None:
        """The level nearest to a moment, at most ten minutes off."""
        off_ms, level = min(
            ((abs(at_ms - time_ms), level) for at_ms, level in self._levels if at_ms >= 0), default=(1e9, 0.0)
        )
        return level if off_ms <= 2 * EVERY_MS + 30_000 else None


def _share(part: float | None, whole: float | None, least: float) -> float:
    return 0.5 if part is None or whole is None or whole < least else min(1.5, max(0.0, part / whole))
