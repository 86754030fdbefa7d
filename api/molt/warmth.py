"""A tank's recorded temperature, from readings or from means of an hour, and the clocks that run on it.

Must not do: take a gap for a record; what lies in one is filled in, counted as not known, and widens what follows.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from api.domain.errors import InputError
from api.molt.clock import BRIDGED_MS, HOUR_MS, Clock, Grid, clock_of, grid_of
from api.molt.species import Curve
from api.science.arrays import Floats

Times = NDArray[np.int64]
POSSIBLE_C = (-2.0, 50.0)
"""Anything else is no water an animal sits in, and is left out and counted. [Cel]"""


@dataclass(frozen=True, slots=True, eq=False)
class Warmth:
    """What is known of a tank's temperature: made by ``of_readings`` or ``of_hours``; ``Warmth()``: nothing at all."""

    time_ms: Times = field(default_factory=lambda: np.empty(0, np.int64))
    temperature_c: Floats = field(default_factory=lambda: np.empty(0))
    hourly: bool = False
    left_out: int = 0
    _clocks: dict[Curve, Clock] = field(default_factory=dict, repr=False)
    _grids: list[Grid] = field(default_factory=list, repr=False)

    @classmethod
    def of_readings(cls, time_ms: ArrayLike, temperature_c: ArrayLike) -> Warmth:
        """From usable readings in any order; of two at one time the later in the list counts. [ms, Cel]

        Raises InputError for lists of different length, or times that are no numbers.
        """
        times, values = _columns(time_ms, temperature_c)
        return cls._of(times, values, False)

    @classmethod
    def of_hours(cls, start_ms: ArrayLike, mean_c: ArrayLike, count: ArrayLike | None = None) -> Warmth:
        """From means of whole hours, each from its start on; hours without readings may be left out or have count 0.

        Raises InputError for lists of different length, times that are no numbers, or hours that overlap.
        """
        times, values = _columns(start_ms, mean_c)
        if count is not None:
            counts = np.asarray(count)
            if counts.shape != times.shape:
                raise InputError(f"{times.size} hours but {counts.size} counts: give one count an hour")
            times, values = times[counts > 0], values[counts > 0]
        made = cls._of(times, values, True)
        if made.time_ms.size > 1 and int(np.diff(made.time_ms).min()) < HOUR_MS:
            raise InputError("hours overlap: each must start at least one hour after the one before")
        return made

    @classmethod
    def _of(cls, times: Times, values: Floats, hourly: bool) -> Warmth:
        if times.size > 1 and int(np.diff(times).min()) <= 0:
            # stable: of readings at one time the one given last stays last, and is the one kept
            order = np.argsort(times, kind="stable")
            times, values = times[order], values[order]
            last = np.append(np.diff(times) > 0, True)
            times, values = times[last], values[last]
        with np.errstate(invalid="ignore"):
            good = (values >= POSSIBLE_C[0]) & (values <= POSSIBLE_C[1])
        left_out = int(good.size - np.count_nonzero(good))
        if left_out:
            times, values = times[good], values[good]
        return cls(times, values, hourly, left_out)

    def until(self, time_ms: int) -> Warmth:
        """The record as it stood at a time. [ms]"""
        end = int(np.searchsorted(self.time_ms, time_ms - (HOUR_MS if self.hourly else 0), side="right"))
        return Warmth(self.time_ms[:end], self.temperature_c[:end], self.hourly, self.left_out)

    def clock(self, curve: Curve, usual_c: float) -> Clock:
        """The clock whose rate ``curve`` gives for each temperature; ``usual_c`` where nothing is known at all."""
        if curve not in self._clocks:
            if self.hourly:
                ends_ms = self.time_ms + HOUR_MS
                at_ms = np.stack((self.time_ms, ends_ms), axis=1).ravel()
                self._clocks[curve] = clock_of(at_ms, np.repeat(self.temperature_c, 2), curve, usual_c)
            else:
                if not self._grids and self.time_ms.size > 1:
                    self._grids.append(grid_of(self.time_ms))
                self._clocks[curve] = clock_of(self.time_ms, self.temperature_c, curve, usual_c, *self._grids[:1])
        return self._clocks[curve]

    @property
    def known_d(self) -> float:
        """How much of its time is covered by readings no further apart than a bridge. [d]"""
        steps = np.diff(self.time_ms)
        return float(steps[steps <= BRIDGED_MS].sum()) / (24 * HOUR_MS)


def _columns(time_ms: ArrayLike, temperature_c: ArrayLike) -> tuple[Times, Floats]:
    times = np.asarray(time_ms)
    values = np.asarray(np.ma.filled(np.ma.asarray(temperature_c, np.float64), np.nan), np.float64)
    if times.ndim != 1 or times.shape != values.shape:
        raise InputError(f"{times.size} times but {values.size} temperatures: give one temperature a time")
    if times.dtype.kind not in "iu" and not (times.dtype.kind == "f" and bool(np.isfinite(times).all())):
        raise InputError("times of temperatures must be whole milliseconds")
    return times.astype(np.int64, copy=False), values
