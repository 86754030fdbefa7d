"""How far values lie apart in a stretch of time that ends now, kept up reading by reading.

Each window remembers the turning points that can still matter: a handful for water, never more than ``MOST_POINTS``
(a probe that speaks faster is looked at once a cell, a window's length over ``MOST_POINTS``). Must not do: judge.
"""

from __future__ import annotations

from collections import deque

from api.domain.checks import RESTLESS_READINGS, RESTLESS_TURNS

MOST_POINTS = 16_384
NEVER_MS = 1 << 62


def in_ms(seconds: float | None) -> int:
    """Seconds as whole milliseconds; None is longer than anything."""
    return NEVER_MS if seconds is None else round(seconds * 1000)


def cell_ms(window_ms: int) -> int:
    """A window looks at the first reading of each cell of this length. [ms]"""
    return -(-window_ms // MOST_POINTS)


class Extent:
    """Range of the readings of the last ``window_ms``: later than now - window, up to now."""

    __slots__ = ("_cell", "_cell_ms", "_high", "_low", "_recent", "_window_ms", "least", "range")

    def __init__(self, window_ms: int, least: int) -> None:
        self._window_ms, self._cell_ms, self.least = window_ms, cell_ms(window_ms), least
        self._high: deque[tuple[int, float]] = deque()
        self._low: deque[tuple[int, float]] = deque()
        self._recent: deque[int] = deque(maxlen=least)
        self.begin()

    def begin(self) -> None:
        """Forget the past."""
        self._high.clear()
        self._low.clear()
        self._recent.clear()
        self._cell: int | None = None
        self.range = 0.0

    def add(self, time_ms: int, value: float) -> bool:
        """Take a reading in; False when its cell has been looked at already."""
        cell = time_ms // self._cell_ms
        if cell == self._cell:
            return False
        self._cell = cell
        before_ms = time_ms - self._window_ms
        high, low = self._high, self._low
        while high and high[-1][1] <= value:
            high.pop()
        high.append((time_ms, value))
        while low and low[-1][1] >= value:
            low.pop()
        low.append((time_ms, value))
        while high[0][0] <= before_ms:
            high.popleft()
        while low[0][0] <= before_ms:
            low.popleft()
        self._recent.append(time_ms)
        self.range = high[0][1] - low[0][1]
        return True

    def enough(self, time_ms: int) -> bool:
        """Whether at least ``least`` readings lie in the window that ends with the reading just taken in."""
        return len(self._recent) == self.least and self._recent[0] > time_ms - self._window_ms


class Run:
    """Since when a probe has said one and the same number, and whether it had been restless until then."""

    __slots__ = ("_earlier", "_turns", "_value", "moved", "restless", "run_ms", "start_ms")
    _MASK = (1 << RESTLESS_READINGS) - 1

    def __init__(self) -> None:
        self.begin()

    def begin(self) -> None:
        """Forget the past."""
        self._value: float | None = None
        self._earlier: float | None = None
        self._turns = self.run_ms = self.start_ms = 0
        self.restless = self.moved = False
        """``moved``: whether another number is known before the run."""

    def add(self, time_ms: int, value: float) -> bool:
        """Take a reading in; every one counts."""
        before, earlier = self._value, self._earlier
        self._earlier, self._value = before, value
        self._turns = (self._turns << 1) & self._MASK
        if value == before:
            self.run_ms = time_ms - self.start_ms
            return True
        if before is not None:
            if earlier is not None and (earlier < before > value or earlier > before < value) and value != earlier:
                self._turns |= 1
            self.restless, self.moved = self._turns.bit_count() >= RESTLESS_TURNS, True
        self.start_ms, self.run_ms = time_ms, 0
        return True


class Steady:
    """Since when all readings lie within a tolerance of each other; looks back no further than ``longest_ms``."""

    __slots__ = (
        "_cell",
        "_cell_ms",
        "_high",
        "_longest_ms",
        "_low",
        "_times",
        "_tolerance",
        "moved",
        "restless",
        "run_ms",
        "start_ms",
    )

    def __init__(self, tolerance: float, longest_ms: int) -> None:
        self._tolerance, self._longest_ms, self._cell_ms = tolerance, longest_ms, cell_ms(longest_ms)
        self._high: deque[tuple[int, float]] = deque()
        self._low: deque[tuple[int, float]] = deque()
        self._times: deque[int] = deque()
        self.begin()

    def begin(self) -> None:
        """Forget the past."""
        self._high.clear()
        self._low.clear()
        self._times.clear()
        self._cell: int | None = None
        self.run_ms = self.start_ms = 0
        self.restless = self.moved = False
        """``moved``: whether a reading outside the tolerance is known before the run."""

    def add(self, time_ms: int, value: float) -> bool:
        """Take a reading in; False when its cell has been looked at already."""
        cell = time_ms // self._cell_ms
        if cell == self._cell:
            return False
        self._cell = cell
        high, low, times = self._high, self._low, self._times
        while high and high[-1][1] <= value:
            high.pop()
        high.append((time_ms, value))
        while low and low[-1][1] >= value:
            low.pop()
        low.append((time_ms, value))
        times.append(time_ms)
        while high[0][1] - low[0][1] > self._tolerance:
            oldest_ms = min(high[0][0], low[0][0])
            self._leave(oldest_ms)
            self.moved = True
        while len(times) > 1 and times[1] <= time_ms - self._longest_ms:
            self._leave(times[0])
        self.start_ms = times[0]
        self.run_ms = time_ms - self.start_ms
        return True

    def _leave(self, last_ms: int) -> None:
        """The run begins after this time."""
        high, low, times = self._high, self._low, self._times
        while times[0] <= last_ms:
            times.popleft()
        while high[0][0] <= last_ms:
            high.popleft()
        while low[0][0] <= last_ms:
            low.popleft()
