"""By when a thread should have gone round again, so that one that hangs is noticed.

Must not do: end or restart a thread.
"""

from __future__ import annotations

import threading
import time
from math import inf


class Pulse:
    """Beaten by its thread at every turn, looked at by another."""

    def __init__(self) -> None:
        self._due_s = inf

    def beat(self, within_s: float) -> None:
        """The next turn should come within so many seconds."""
        self._due_s = time.monotonic() + within_s

    def end(self) -> None:
        """No further turn is to come."""
        self._due_s = inf

    def late_s(self, thread: threading.Thread) -> float:
        """By how much the next turn is overdue: 0 before the start and after a wanted end, else infinite when dead."""
        due_s = self._due_s
        if due_s == inf:
            return 0.0
        return max(0.0, time.monotonic() - due_s) if thread.is_alive() else inf
