"""What a probe said to values in the canonical unit for many readings of one channel; the same rules as ``convert.py``.

Must not do: know another rule than ``convert.py``, or drop what cannot be converted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.science.arrays import Bools, Flags, Floats, Ints
from api.science.units import converter
from api.services.convert import LARGEST, converted, same_unit
from api.services.plan import ChannelPlan


@dataclass(frozen=True, slots=True)
class Converted:
    """Values (NaN: cannot be had), the flags before any other check, and why by place."""

    values: Floats
    flags: Flags
    reasons: dict[int, str]


def convert_many(
    quantity: Quantity, raws: Floats, units: str | Sequence[str], times_ms: Ints, channel: ChannelPlan
) -> Converted:
    """Each reading's ``convert.converted``."""
    values, odd = np.full(len(raws), np.nan), np.zeros(len(raws), dtype=bool)
    for unit, which in _by_unit(units, len(raws)):
        try:
            values[which] = converter(quantity, unit)(raws[which])  # type: ignore[arg-type]
        except InputError:
            odd[which] = True
        if channel.unit is not None and unit != channel.unit and not same_unit(quantity, unit, channel.unit):
            odd[which] = True
    if channel.lines:
        _calibrate(values, times_ms, channel)
    odd |= ~((values > -LARGEST) & (values < LARGEST))
    if quantity is Quantity.PRESSURE:
        odd[:] = True  # whether it is the station's has to be asked one by one
    flags, reasons = np.full(len(raws), int(Flag.GOOD), np.int8), {}
    for place in np.flatnonzero(odd).tolist():
        unit = units if isinstance(units, str) else units[place]
        value, flag, reason = converted(quantity, float(raws[place]), unit, int(times_ms[place]), channel)
        values[place] = np.nan if value is None else value
        flags[place] = flag
        if reason:
            reasons[place] = reason
    return Converted(values, flags, reasons)


def _by_unit(units: str | Sequence[str], count: int) -> list[tuple[str, Bools]]:
    if isinstance(units, str):
        return [(units, np.ones(count, dtype=bool))]
    given = np.array(units, dtype=object)
    return [(unit, given == unit) for unit in dict.fromkeys(units)]


def _calibrate(values: Floats, times_ms: Ints, channel: ChannelPlan) -> None:
    """The line in force at each time; the lines stand in the order they take effect."""
    starts = np.array([line.from_ms for line in channel.lines], np.int64)
    which = np.searchsorted(starts, times_ms, side="right") - 1
    for place, line in enumerate(channel.lines):
        mine = which == place
        if mine.any():
            values[mine] = line.true(values[mine])
