"""Chart times: the chart library knows no zones, so it gets wall-clock times of the room at one fixed offset.

The offset is that of the window's end, so a line never runs backwards when summer time ends inside the window.
Must not do: hide that a window spans a change of the clock.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from dashboard.clock import Clock


class WallClock:
    """Times of one chart window."""

    def __init__(self, clock: Clock, start_ms: int, end_ms: int) -> None:
        self._shift = clock.local(end_ms).utcoffset() or timedelta(0)
        self.clock_changed = clock.local(start_ms).utcoffset() != self._shift
        self.offset = f"UTC{clock.iso(end_ms)[-6:]}"

    def text(self, time_ms: int) -> str:
        """Wall-clock time as the chart library reads it."""
        local = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=time_ms) + self._shift
        return local.replace(tzinfo=None).isoformat(sep=" ", timespec="milliseconds")
