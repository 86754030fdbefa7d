"""A clock that runs on a tank's water: the sum of a rate over recorded temperature, with what is known and what is not.

In Reaumur's way: development adds up, and is done when the sum is full. Must not do: read a temperature twice, or
hide a gap.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from api.molt.species import Curve
from api.science.arrays import Floats

HOUR_MS, DAY_MS = 3_600_000, 86_400_000
BRIDGED_MS = 3 * HOUR_MS
"""Readings this far apart still are one record: water of a tank is that slow. Judgement. [ms]"""
BESIDE_D = 3.0
"""A gap is filled in with the mean of so many days before and after it. [d]"""
RECENT_D = 7.0
"""The water to come is taken to be as warm as the last days on record. [d]"""
GAP_SD, GAP_SD_PER_D, MOST_SD = 1.0, 0.1, 3.0
"""How far the mean over a gap may be off: 1 standard deviation, growing with its length up to a most.
[Cel, Cel/d, Cel]"""
TOGETHER = 1 << 15
"""Readings summed at a time: as many as stay in the processor's own memory."""
FEW = 5
"""Readings that speak for a record in which no two hang together."""
AHEAD_SD = 0.5
"""How far the mean of the water to come may be off. Judgement. [Cel]"""


@dataclass(frozen=True, slots=True, eq=False)
class Clock:
    """Sums at the knots: the clock's total, its variance from gaps, and days on record.

    ``slope`` is the rate change per degree, by which what is not known of a temperature becomes what is not known of
    the sum. ``recent`` and ``first`` are the rates that go on after the record and before it.
    """

    knot_ms: NDArray[np.float64]
    total: Floats
    variance: Floats
    known_d: Floats
    first: float
    recent: float
    slope: float
    sd_c: float

    def at(self, time_ms: ArrayLike) -> tuple[Floats, Floats, Floats]:
        """Total, variance and days on record up to each time; beyond the record it goes on as it was. [ms]"""
        times = np.asarray(time_ms, np.float64)
        start, end = self.knot_ms[0], self.knot_ms[-1]
        before_d = np.maximum(0.0, start - times) / DAY_MS
        after_d = np.maximum(0.0, times - end) / DAY_MS
        total = np.interp(times, self.knot_ms, self.total) - self.first * before_d + self.recent * after_d
        variance = np.interp(times, self.knot_ms, self.variance)
        variance += self._unknown(after_d) - self._unknown(before_d)
        return total, variance, np.interp(times, self.knot_ms, self.known_d)

    def between(self, start_ms: ArrayLike, end_ms: ArrayLike) -> tuple[Floats, Floats, Floats]:
        """What the clock ran, its variance, and days on record, from each start to each end. [ms]"""
        total0, variance0, known0 = self.at(start_ms)
        total1, variance1, known1 = self.at(end_ms)
        days = (np.asarray(end_ms, np.float64) - np.asarray(start_ms, np.float64)) / DAY_MS
        unknown_d = np.maximum(0.0, days - (known1 - known0))
        # a part of a long gap is never less certain than the most a mean can be off over that part
        most = (self.slope * MOST_SD * unknown_d) ** 2
        return total1 - total0, np.clip(variance1 - variance0, 0.0, most), known1 - known0

    def _unknown(self, days: Floats) -> Floats:
        """Variance of so many days outside the record."""
        out: Floats = (self.slope * np.maximum(self.sd_c, gap_sd_c(days)) * days) ** 2
        return out

    def ahead(self, now_ms: int) -> tuple[float, float]:
        """The rate to come and 1 standard deviation of its mean; an older record tells less."""
        stale_d = max(0.0, (now_ms - float(self.knot_ms[-1])) / DAY_MS)
        known = self.sd_c <= AHEAD_SD and stale_d <= BRIDGED_MS / DAY_MS
        sd_c = AHEAD_SD if known else max(self.sd_c, float(gap_sd_c(np.array(stale_d))))
        return self.recent, self.slope * sd_c


def gap_sd_c(days: Floats) -> Floats:
    """How far the mean temperature over a gap may be off. [d -> Cel]"""
    out: Floats = np.minimum(MOST_SD, GAP_SD + GAP_SD_PER_D * days)
    return out


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Of a record's readings, those after which a gap comes, and those at which a clock keeps its sum."""

    gaps: NDArray[np.intp]
    picked: NDArray[np.intp]


def grid_of(time_ms: NDArray[np.int64]) -> Grid:
    """The grid of a record in the order of time, of two readings at least, for all clocks on it."""
    gaps = _gaps(time_ms)
    return Grid(gaps, _knots(time_ms, gaps))


def clock_of(
    time_ms: NDArray[np.int64], temperature_c: Floats, curve: Curve, usual_c: float, grid: Grid | None = None
) -> Clock:
    """The clock of a record in the order of time; sums at whole hours and at the ends of gaps."""
    slope = max((b[1] - a[1]) / (b[0] - a[0]) for a, b in pairwise(curve))
    if time_ms.size < 2:
        seen_c = float(temperature_c[0]) if time_ms.size else usual_c
        rate = float(rates(np.array([seen_c]), curve)[0])
        at_ms = np.array([float(time_ms[0]) if time_ms.size else 0.0])
        zero = np.zeros(1)
        return Clock(at_ms, zero, zero, zero, rate, rate, slope, MOST_SD)
    grid = grid or grid_of(time_ms)
    gaps, picked = grid.gaps, grid.picked
    known = np.concatenate(([0.0], np.cumsum(_sums(time_ms, temperature_c, curve, picked))))
    knot_ms = time_ms[picked].astype(np.float64)
    lost_ms = np.zeros(picked.size)
    after = np.searchsorted(picked, gaps + 1)
    lost_ms[after] = time_ms[gaps + 1] - time_ms[gaps]
    known_d = (knot_ms - knot_ms[0] - np.cumsum(lost_ms)) / DAY_MS
    ends = rates(temperature_c[gaps], curve), rates(temperature_c[gaps + 1], curve)
    fill = _fill(known, known_d, after - 1, *ends)
    length_d = lost_ms[after] / DAY_MS
    added, widened = np.zeros(picked.size), np.zeros(picked.size)
    added[after] = fill * length_d
    widened[after] = (slope * gap_sd_c(length_d) * length_d) ** 2
    first = _mean(known, known_d, BESIDE_D, False, float(rates(temperature_c[:FEW], curve).mean()))
    recent = _mean(known, known_d, RECENT_D, True, float(rates(temperature_c[-FEW:], curve).mean()))
    return Clock(knot_ms, known + np.cumsum(added), np.cumsum(widened), known_d, first, recent, slope, 0.0)


def rates(temperature_c: Floats, curve: Curve) -> Floats:
    """The rate at each temperature."""
    if len(curve) == 2 and curve[0][1] == 0.0:
        (low, _), (high, top) = curve
        out: Floats = np.clip(temperature_c, low, high)
        out -= low
        if top != high - low:
            out *= top / (high - low)
        return out
    points = np.array(curve)
    bent: Floats = np.interp(temperature_c, points[:, 0], points[:, 1])
    return bent


def _gaps(time_ms: NDArray[np.int64]) -> NDArray[np.intp]:
    """Readings after which a gap comes."""
    found = [
        np.flatnonzero(np.diff(time_ms[at : at + TOGETHER + 1]) > BRIDGED_MS) + at
        for at in range(0, time_ms.size - 1, TOGETHER)
    ]
    return np.concatenate(found)


def _sums(time_ms: NDArray[np.int64], temperature_c: Floats, curve: Curve, picked: NDArray[np.intp]) -> Floats:
    """What the clock ran from knot to knot, gaps left out."""
    out: Floats = np.empty(picked.size - 1)
    knots = max(1, TOGETHER * picked.size // time_ms.size)
    for first in range(0, picked.size - 1, knots):
        ends = picked[first : first + knots + 1]
        block = slice(int(ends[0]), int(ends[-1]) + 1)
        rate, step_ms = rates(temperature_c[block], curve), np.diff(time_ms[block])
        adds = (rate[1:] + rate[:-1]) * step_ms
        adds *= 0.5 / DAY_MS
        adds[step_ms > BRIDGED_MS] = 0.0
        out[first : first + ends.size - 1] = np.add.reduceat(adds, ends[:-1] - ends[0])
    return out


def _knots(time_ms: NDArray[np.int64], gaps: NDArray[np.intp]) -> NDArray[np.intp]:
    """First reading of each hour, both ends of each gap, and the last reading."""
    hours = np.arange(time_ms[0] // HOUR_MS + 1, time_ms[-1] // HOUR_MS + 1) * HOUR_MS
    # where readings are an hour apart or more, asking for every hour would only find the same ones again
    found = np.arange(time_ms.size) if hours.size >= time_ms.size else np.searchsorted(time_ms, hours)
    picked = np.concatenate(([0], found, [time_ms.size - 1]))
    if gaps.size:
        picked = np.sort(np.concatenate((picked, gaps, gaps + 1)))
    out: NDArray[np.intp] = picked[np.append(True, np.diff(picked) > 0)]
    return out


def _fill(total: Floats, known_d: Floats, before: NDArray[np.intp], left_end: Floats, right_end: Floats) -> Floats:
    """The rate taken for each gap: the mean of some days before and after it, or of the readings at its ends."""
    here_d, here = known_d[before], total[before]
    low_d, high_d = np.maximum(0.0, here_d - BESIDE_D), np.minimum(known_d[-1], here_d + BESIDE_D)
    left_d, right_d = here_d - low_d, high_d - here_d
    left = np.divide(here - np.interp(low_d, known_d, total), left_d, out=left_end.copy(), where=left_d > 0)
    right = np.divide(np.interp(high_d, known_d, total) - here, right_d, out=right_end.copy(), where=right_d > 0)
    out: Floats = 0.5 * (left + right)
    return out


def _mean(total: Floats, known_d: Floats, days: float, at_end: bool, sparse: float) -> float:
    """Mean rate over the first or last days on record; ``sparse`` where no two readings hang together."""
    whole = min(days, float(known_d[-1]))
    if whole <= 0.0:
        return sparse
    if at_end:
        return float(total[-1] - np.interp(known_d[-1] - whole, known_d, total)) / whole
    return float(np.interp(whole, known_d, total) - total[0]) / whole
