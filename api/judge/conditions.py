"""Statistics of a quantity over a time, from the means of equal spans: each counts alike, so time does the weighing.

Pure. Must not do: fill gaps; a span without a reading that can be believed counts nowhere.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from api.domain.band import Band
from api.domain.care import CareRange
from api.judge.assess import assess
from api.science.arrays import Floats

DAY_MS = 86_400_000
PERCENTILES = (5.0, 50.0, 95.0)


@dataclass(frozen=True, slots=True)
class Gap:
    """A time without a believed reading. [ms]"""

    start_ms: int
    end_ms: int


@dataclass(frozen=True, slots=True)
class Conditions:
    """A quantity over a time, in its canonical unit; None where nothing is known.

    ``known`` is the share of time with believed readings [1]; ``sd`` the standard deviation of the spans' means (n in
    the denominator); ``low`` and ``high`` are single readings; ``bands`` the share of known time in each band [1].
    """

    known: float
    mean: float | None
    sd: float | None
    median: float | None
    p05: float | None
    p95: float | None
    low: float | None
    high: float | None
    bands: Mapping[Band, float]
    gaps: tuple[Gap, ...]


@dataclass(frozen=True, slots=True)
class Means:
    """Spans of equal length: start [ms], mean, lowest and highest believed reading, in the canonical unit."""

    start_ms: NDArray[np.int64]
    mean: Floats
    low: Floats
    high: Floats
    length_ms: int

    def where(self, keep: NDArray[np.bool_]) -> Means:
        """Some of them."""
        return Means(self.start_ms[keep], self.mean[keep], self.low[keep], self.high[keep], self.length_ms)

    def since(self, start_ms: int) -> Means:
        """Those that begin at a time or later."""
        return self.where(self.start_ms >= start_ms)


def conditions(means: Means, care: CareRange | None, start_ms: int, end_ms: int) -> Conditions:
    """Statistics from start (inside) to end (outside).

    Raises ValueError for a time that does not go on.
    """
    if end_ms <= start_ms:
        raise ValueError("the end lies before the start")
    whole = -(-(end_ms - start_ms) // means.length_ms)
    gaps = _gaps(means, start_ms, end_ms)
    if not means.start_ms.size:
        return Conditions(0.0, None, None, None, None, None, None, None, {}, gaps)
    p05, median, p95 = (float(one) for one in np.percentile(means.mean, PERCENTILES))
    return Conditions(
        known=min(1.0, means.start_ms.size / whole),
        mean=float(means.mean.mean()),
        sd=float(means.mean.std()),
        median=median,
        p05=p05,
        p95=p95,
        low=float(means.low.min()),
        high=float(means.high.max()),
        bands=shares(means.mean, care) if care is not None and care.limited else {},
        gaps=gaps,
    )


def shares(mean: Floats, care: CareRange) -> dict[Band, float]:
    """The share of spans in each band: the same as ``assess`` says of each."""
    bounds = (
        care.danger_low, care.tolerable_low, care.target_low, care.target_high, care.tolerable_high, care.danger_high,
    )  # fmt: skip
    limits = sorted({one for one in bounds if one is not None})
    counts: dict[Band, int] = {}
    # between two limits the band is the same everywhere, so one value of each stretch is asked
    at = np.searchsorted(limits, mean, side="left")
    on = np.isin(mean, limits)
    for place in np.unique(at[~on]).tolist():
        some = mean[(at == place) & ~on]
        band = assess(float(some[0]), care).band
        counts[band] = counts.get(band, 0) + int(some.size)
    for value, many in zip(*np.unique(mean[on], return_counts=True), strict=True):
        band = assess(float(value), care).band
        counts[band] = counts.get(band, 0) + int(many)
    return {band: counts[band] / mean.size for band in Band if band in counts}


def degree_days(means: Means, zero_c: float, cap_c: float | None = None) -> float:
    """Degree-days above a temperature, no faster above a cap, over the spans that are known. [degree-day]"""
    capped = means.mean if cap_c is None else np.minimum(means.mean, cap_c)
    return float(np.maximum(capped - zero_c, 0.0).sum()) * means.length_ms / DAY_MS


def _gaps(means: Means, start_ms: int, end_ms: int) -> tuple[Gap, ...]:
    """Times without a span, one whole span and longer, the ends of the time included."""
    if not means.start_ms.size:
        return (Gap(start_ms, end_ms),)
    starts, length = means.start_ms.tolist(), means.length_ms
    found = [Gap(one + length, other) for one, other in pairwise(starts) if other - one >= 2 * length]
    if starts[0] - start_ms >= length:
        found.insert(0, Gap(start_ms, starts[0]))
    if end_ms - starts[-1] >= 2 * length:
        found.append(Gap(starts[-1] + length, end_ms))
    return tuple(found)


def means_of(rows: Sequence[tuple[int, float, float, float]], length_ms: int) -> Means:
    """Spans from (start_ms, mean, low, high) in the order of time."""
    table = np.array(rows, np.float64).reshape(-1, 4)
    starts = np.array([row[0] for row in rows], np.int64)
    return Means(starts, table[:, 1], table[:, 2], table[:, 3], length_ms)
