"""How long to wait before the same again: doubling with full jitter, from 1 s to 30 s.

Must not do: sleep.
"""

from __future__ import annotations

import random
from collections.abc import Callable

FLOOR_S = 1.0
CEILING_S = 30.0


class Backoff:
    """Waiting times of one thing that keeps failing."""

    def __init__(self, draw: Callable[[float, float], float] = random.uniform) -> None:
        self._draw = draw
        self.failures = 0

    def next_s(self) -> float:
        """The next wait, drawn between the floor and a ceiling that doubles with each failure."""
        top = min(CEILING_S, FLOOR_S * 2.0 ** min(self.failures, 10))
        self.failures += 1
        return self._draw(FLOOR_S, max(FLOOR_S, top))

    def reset(self) -> None:
        """It worked: the next wait is short again."""
        self.failures = 0
