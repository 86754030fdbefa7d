"""Changes within an hour or a day, step by step over spans of five minutes: for what is not looked at on the clock.

The same rule as ``change.py``, on the readings' own time; of long records only stretches are gone through in which any
change may be too large. Pure. Must not do: read a clock.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from statistics import median

import numpy as np
from numpy.typing import NDArray

from api.domain.alert import AlertKind
from api.domain.care import CareRange
from api.domain.quantity import Quantity
from api.judge.alert_cycle import Delays, Sample
from api.judge.change import BACK, SPANS_MS, Change, look

STEP_MS = 300_000
STEPWISE = Delays(300.0, 300.0, 600.0, 2, 2)
"""Two spans in a row: the five minutes that live looks wait. A single odd span is left out by the medians."""
AFTER = 4
"""Steps after the last large change, so that an alert ends after its off-delay."""
Limit = tuple[AlertKind, float]


def limits_of(care: CareRange | None) -> list[Limit]:
    """The largest changes a care range allows, by kind, where it says so."""
    if care is None:
        return []
    both = ((AlertKind.CHANGE_IN_HOUR, care.change_per_hour), (AlertKind.CHANGE_IN_DAY, care.change_per_day))
    return [(kind, limit) for kind, limit in both if limit is not None]


class ChangeWatch:
    """Follows one channel within one span of time. A few microseconds a step."""

    def __init__(self, kind: AlertKind) -> None:
        self.kind, self._span_ms = kind, SPANS_MS[kind]
        self._newest: deque[tuple[int, float]] = deque(maxlen=5)
        self._lows: deque[tuple[int, float]] = deque()
        self._highs: deque[tuple[int, float]] = deque()
        self._start_ms, self._sum, self._count = -1, 0.0, 0

    def take(self, time_ms: int, value: float) -> Change | None:
        """A reading, later than the one before; the change at the end of the span that it closes, if it closes one."""
        start_ms = time_ms // STEP_MS * STEP_MS
        closed = None
        if start_ms != self._start_ms:
            if self._count:
                closed = self.point(self._start_ms + STEP_MS // 2, self._sum / self._count)
            self._start_ms, self._sum, self._count = start_ms, 0.0, 0
        self._sum += value
        self._count += 1
        return closed

    def point(self, time_ms: int, mean: float) -> Change:
        """The mean of the next span; the largest change up to now, by running medians of five."""
        newest = self._newest
        newest.append((time_ms, mean))
        values = [value for _, value in newest]
        if len(values) >= 3:
            # its neighbours on both sides are known now, so this one is settled
            self._settle(newest[-3][0], median(values))
        now = median(values[-3:])
        begin_ms = time_ms - self._span_ms
        for line in (self._lows, self._highs):
            while line and line[0][0] < begin_ms:
                line.popleft()
        others = [line[0] for line in (self._lows, self._highs) if line]
        if len(values) >= 2 and newest[-2][0] >= begin_ms:
            others.append((newest[-2][0], median(values[-4:])))
        from_ms, before = max(others, key=lambda one: abs(now - one[1]), default=(time_ms, now))
        return Change(now - before, from_ms, time_ms, now)

    def _settle(self, time_ms: int, value: float) -> None:
        while self._lows and self._lows[-1][1] >= value:
            self._lows.pop()
        self._lows.append((time_ms, value))
        while self._highs and self._highs[-1][1] <= value:
            self._highs.pop()
        self._highs.append((time_ms, value))


def changes_over(
    times_ms: NDArray[np.int64],
    means: NDArray[np.float64],
    limits: Sequence[Limit],
    quantity: Quantity,
    from_ms: int = 0,
) -> Iterator[tuple[AlertKind, Sample]]:
    """Samples of a record's spans (middle of each, its mean), a kind at a time, in the order of time within a kind.

    Spans before ``from_ms`` only serve as what was before. Spans that cannot matter give no sample.
    """
    for kind, allowed in limits:
        for first, end in stretches(times_ms, means, SPANS_MS[kind], allowed):
            begin = before(times_ms, first, SPANS_MS[kind])
            watch = ChangeWatch(kind)
            for place in range(begin, end):
                at_ms = int(times_ms[place])
                change = watch.point(at_ms, float(means[place]))
                if place >= first and at_ms >= from_ms:
                    yield kind, look(kind, change, allowed, quantity, at_ms)


def before(times_ms: NDArray[np.int64], first: int, span_ms: int) -> int:
    """From which place on the spans must be known to tell of one: its time of looking back, and the medians' reach."""
    return max(0, int(np.searchsorted(times_ms, times_ms[first] - span_ms)) - 4)


def stretches(
    times_ms: NDArray[np.int64], means: NDArray[np.float64], span_ms: int, allowed: float
) -> list[tuple[int, int]]:
    """Where the values of a span of time lie further apart than ends an alert: places from (inside) to (outside)."""
    if not times_ms.size:
        return []
    first = times_ms[0] // STEP_MS
    grid = np.full(int(times_ms[-1] // STEP_MS - first) + 1, np.nan)
    cells = (times_ms // STEP_MS - first).astype(np.int64)
    grid[cells] = means
    width = span_ms // STEP_MS + 4
    apart = _running(grid, width, np.fmax) + _running(-grid, width, np.fmax)
    large = np.flatnonzero(apart[cells] > BACK * allowed)
    found: list[tuple[int, int]] = []
    for place in large.tolist():
        end = min(place + 1 + AFTER, times_ms.size)
        if found and place <= found[-1][1]:
            found[-1] = (found[-1][0], end)
        else:
            found.append((place, end))
    return found


def _running(grid: NDArray[np.float64], width: int, pick: np.ufunc) -> NDArray[np.float64]:
    """The pick of each cell and the ``width`` before it, by doubling."""
    out, reach = grid.copy(), 1
    while reach < width + 1:
        step = min(reach, width + 1 - reach)
        out[step:] = pick(out[step:], out[:-step])
        reach += step
    return out
