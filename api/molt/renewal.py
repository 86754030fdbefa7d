"""When the next molt comes, in units of the animal's own typical interval: the renewal table.

Intervals are log-normal about 1; a molt nobody saw may have started a new one, so that an animal long past due is
ever more likely to have molted unseen, and its chances stay those of an animal that molts. Must not do: know days.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from api.science.arrays import Floats

STEP = 0.02
MOST_AGE, MOST_AHEAD = 6.0, 5.0
GROWTH = 1.1
"""Each further interval is longer by this: 15 % more carapace to the power 0.8. Judgement."""
UNSEEN = 3
"""Molts in a row that may go unseen; more make no difference up to the largest age."""
STRAY, STRAY_LN, STRAY_SD = 0.02, 0.2, 0.6
"""Share of intervals that something else made, longer and wide: keeps chances sane far from the middle."""


@dataclass(frozen=True, slots=True, eq=False)
class Renewal:
    """``lasting``: chance of no molt seen up to an age, and none at all from there for some time ahead.

    Rows are ages, columns times ahead, both from 0 in steps of STEP. ``survival``: no molt up to an age in the first
    interval alone.
    """

    lasting: Floats
    survival: Floats

    def at(self, age: Floats, ahead: Floats) -> Floats:
        """``lasting`` at ages and times ahead of any shape, straight between the table's points."""
        row = np.minimum(age / STEP, self.lasting.shape[0] - 1.001)
        column = np.minimum(ahead / STEP, self.lasting.shape[1] - 1.001)
        i, j = row.astype(np.intp), column.astype(np.intp)
        u, v = row - i, column - j
        flat, width = self.lasting.ravel(), self.lasting.shape[1]
        at = i * width + j
        low = flat.take(at) * (1.0 - v) + flat.take(at + 1) * v
        high = flat.take(at + width) * (1.0 - v) + flat.take(at + width + 1) * v
        out: Floats = low * (1.0 - u) + high * u
        return out


def renewal(noise: float, missed: float) -> Renewal:
    """The table for a spread of ln(interval) and a share of unseen molts, to the nearest hundredth of each."""
    return _table(round(min(max(noise, 0.04), 1.0), 2), round(min(max(missed, 0.01), 0.3), 2))


@lru_cache(maxsize=128)
def _table(noise: float, missed: float) -> Renewal:
    ages, aheads = round(MOST_AGE / STEP) + 1, round(MOST_AHEAD / STEP) + 1
    at: Floats = np.arange(ages + aheads, dtype=np.float64) * STEP
    lasting = _windows(_survival(at, noise, 1.0), ages, aheads)
    arrived = np.zeros(ages)
    arrived[0] = 1.0
    for unseen in range(1, UNSEEN + 1):
        # when the unseen molt was, then survival of the interval that it began
        step = -np.diff(_survival(at[:ages], noise, GROWTH ** (unseen - 1)), prepend=1.0)
        arrived = missed * np.convolve(arrived, step)[:ages]
        later = _windows(_survival(at, noise, GROWTH**unseen), ages, aheads)
        lasting += _convolved(arrived, later)
    return Renewal(np.maximum(lasting, 1e-12), _survival(at[:ages], noise, 1.0))


def _survival(at: Floats, noise: float, middle: float) -> Floats:
    """Chance that an interval is longer than each."""
    from scipy.special import ndtr

    with np.errstate(divide="ignore"):
        ln = np.log(at / middle)
    out: Floats = (1.0 - STRAY) * ndtr(-ln / noise) + STRAY * ndtr(-(ln - STRAY_LN) / max(STRAY_SD, noise))
    return out


def _windows(values: Floats, rows: int, columns: int) -> Floats:
    """values[i + j] as a table."""
    return np.array(np.lib.stride_tricks.sliding_window_view(values, columns)[:rows])


def _convolved(arrived: Floats, later: Floats) -> Floats:
    """Sum over when the unseen molt was, for each time ahead at once."""
    size = 2 * arrived.size
    spectrum = np.fft.rfft(arrived, size)[:, None] * np.fft.rfft(later, size, axis=0)
    out: Floats = np.fft.irfft(spectrum, size, axis=0)[: arrived.size]
    return out
