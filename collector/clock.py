"""Time stamps for readings that carry none of their own.

Must not do: read a clock inside ``Stamper``; the present is handed in.
"""

from __future__ import annotations

import time

CREEP_MS = 60_000
"""A clock set back by less is bridged one millisecond at a time; by more, the new time is believed."""


def now_ms() -> int:
    """The present, whole milliseconds UTC since 1970."""
    return time.time_ns() // 1_000_000


class Stamper:
    """Gives each line of one probe its own millisecond, rising strictly, so that no line is taken for another's copy.

    A computer without a clock battery may start hours ahead and be set back: then following the true time is worth more
    than rising, and ``set_back`` counts it.
    """

    def __init__(self) -> None:
        self.last_ms: int | None = None
        self.set_back = 0

    def stamp(self, now_ms: int) -> int:
        """A time for the next line, which arrived at ``now_ms``."""
        last = self.last_ms
        if last is not None and now_ms <= last:
            if last - now_ms > CREEP_MS:
                self.set_back += 1
            else:
                now_ms = last + 1
        self.last_ms = now_ms
        return now_ms
