"""Many readings' oxygen in its other quantity, each with the temperature and pressure the line would have chosen.

The same rules as ``derive.py`` and ``partners.choose``. Must not do: assume a temperature.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from api.domain.errors import OutOfRange
from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag
from api.science.arrays import Flags, Floats, Ints
from api.services.derive import DOUBTED, NO_PARTNER, OTHER, Water, derive, into, no_input
from api.services.partners import Partner
from api.storage.past_base import Columns

Formula = Callable[[float, float, float, float], float]


@dataclass(frozen=True, slots=True)
class Line:
    """Partners in rising time, one at a time."""

    times_ms: Ints
    values: Floats
    flags: Flags

    def beside(self, times_ms: Ints, age_ms: int, *, before: bool) -> Ints:
        """The place of each time's nearest partner, -1 where none is near enough."""
        if not len(self.times_ms):
            return np.full(len(times_ms), -1)
        place = np.searchsorted(self.times_ms, times_ms, side="right")
        place = place - 1 if before else place
        known = (place >= 0) & (place < len(self.times_ms))
        at = np.clip(place, 0, len(self.times_ms) - 1)
        known &= np.abs(self.times_ms[at] - times_ms) <= age_ms
        return np.where(known, at, -1)


@dataclass(frozen=True, slots=True)
class Chosen:
    """For each reading the value and flag of its partner; NaN and MISSING where there is none."""

    values: Floats
    flags: Flags


@dataclass(frozen=True, slots=True)
class Told:
    """What one probe said that may serve as partner."""

    probe: str
    times_ms: Ints
    values: Floats
    flags: Flags


def choose_many(told: Iterable[Told], probe: str, times_ms: Ints, age_ms: int) -> Chosen:
    """``partners.choose`` for each time: good before suspect, before rather than after, the own probe's first."""
    told = sorted(told, key=lambda one: (one.probe != probe, one.probe))
    values, flags = np.full(len(times_ms), np.nan), np.full(len(times_ms), int(Flag.MISSING), np.int8)
    for suspect in (False, True):
        line = _line(told, suspect=suspect)
        for before in (True, False):
            at = line.beside(times_ms, age_ms, before=before)
            fill = np.isnan(values) & (at >= 0)
            values[fill], flags[fill] = line.values[at[fill]], line.flags[at[fill]]
    return Chosen(values, flags)


def _line(told: list[Told], *, suspect: bool) -> Line:
    """Good partners, or suspect ones; of one moment only the first in rank."""
    parts = [(one, (one.flags == Flag.SUSPECT) if suspect else (one.flags < Flag.SUSPECT)) for one in told]
    parts = [(one, which & np.isfinite(one.values)) for one, which in parts]
    if not parts:
        return Line(np.empty(0, np.int64), np.empty(0), np.empty(0, np.int8))
    times_ms = np.concatenate([one.times_ms[which] for one, which in parts])
    values = np.concatenate([one.values[which] for one, which in parts])
    flags = np.concatenate([one.flags[which] for one, which in parts])
    if len(parts) > 1:
        times_ms, first = np.unique(times_ms, return_index=True)
        values, flags = values[first], flags[first]
    return Line(times_ms, values, flags)


def derive_many(
    probe: str,
    quantity: Quantity,
    rows: Columns,
    warmth: Chosen,
    air: Chosen | None,
    water: Water,
    *,
    exact: bool = False,
) -> Columns:
    """Each row's ``derive.derive``; ``air`` None: ``water``'s pressure for all. ``exact``: to the last bit."""
    known = np.isfinite(rows.values) & np.isfinite(warmth.values)
    pressure_kpa: float | Floats = water.pressure_kpa
    flags = np.maximum(rows.flags, warmth.flags)
    if air is not None:
        given = np.isfinite(air.values)
        pressure_kpa = np.where(given, air.values, water.pressure_kpa)
        flags = np.maximum(flags, np.where(given, air.flags, int(water.pressure_flag)))
    formula = into(OTHER[quantity])
    if exact:
        kpa = np.broadcast_to(pressure_kpa, len(known))
        inputs = [one[known].tolist() for one in (rows.values, warmth.values, kpa)]
        made: Floats = np.full(len(known), np.nan)
        made[known] = [_one(formula, v, c, p, water.salinity_psu) for v, c, p in zip(*inputs, strict=True)]
    else:
        made = formula(rows.values, warmth.values, pressure_kpa, water.salinity_psu)  # type: ignore[arg-type, assignment]
    values: Floats = np.where(known, made, np.nan)
    had = np.isfinite(values)
    flags = np.where(had, flags, int(Flag.MISSING)).astype(np.int8)
    reasons = {place: why for place, why in rows.reasons.items() if had[place]}
    for place in np.flatnonzero(had & (warmth.flags == Flag.SUSPECT) & (rows.flags < Flag.SUSPECT)).tolist():
        reasons[place] = DOUBTED
    for place in np.flatnonzero(~had).tolist():
        reasons[place] = _why_not(probe, quantity, rows, place, warmth, pressure_kpa, water)
    return Columns(rows.times_ms, rows.raws, rows.units, values, flags, rows.arrivals, reasons)


def _one(formula: Formula, value: float, warm_c: float, pressure_kpa: float, salinity_psu: float) -> float:
    try:
        return formula(value, warm_c, pressure_kpa, salinity_psu)
    except OutOfRange:
        return math.nan


def _why_not(
    probe: str,
    quantity: Quantity,
    rows: Columns,
    place: int,
    warmth: Chosen,
    pressure_kpa: float | Floats,
    water: Water,
) -> str:
    """Why a row has no derived value."""
    value, warm_c = float(rows.values[place]), float(warmth.values[place])
    if value != value:
        return no_input(quantity)
    if warm_c != warm_c:
        return NO_PARTNER
    kpa = pressure_kpa if isinstance(pressure_kpa, float) else float(pressure_kpa[place])
    reading = CheckedReading(probe, quantity, 0, value, "", value, Flag.GOOD)
    return derive(reading, Partner(0, warm_c, Flag.GOOD), Water(kpa, water.salinity_psu)).reason
