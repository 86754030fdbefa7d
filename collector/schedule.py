"""A fixed beat on the monotonic clock: every ``every_s``, without drift, missed beats skipped.

Must not do: sleep or read a clock.
"""

from __future__ import annotations

from math import floor


class Schedule:
    """Beats at ``start_s``, ``start_s + every_s``, and so on."""

    def __init__(self, every_s: float, start_s: float) -> None:
        self.every_s = every_s
        self.next_s = start_s

    def due(self, now_s: float) -> bool:
        """Whether a beat has come; true once for each, and once for any number that were missed."""
        if now_s < self.next_s:
            return False
        self.next_s += self.every_s * (floor((now_s - self.next_s) / self.every_s) + 1)
        return True

    def left_s(self, now_s: float) -> float:
        """Seconds until the next beat, never negative."""
        return max(0.0, self.next_s - now_s)
