"""What the services ask of a store for a whole span of readings at once, column by column, as a protocol.

Writes inside ``Store.write`` only. Must not do: change what a probe said.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from api.domain.quantity import Quantity
from api.storage.unjudged_base import UnjudgedStore


@dataclass(frozen=True, slots=True)
class Columns:
    """Readings of one channel in rising time. ``values`` are NaN where there is none; ``reasons`` by place.

    ``units`` is one for all, or one for each.
    """

    times_ms: NDArray[np.int64]
    raws: NDArray[np.float64]
    units: str | list[str]
    values: NDArray[np.float64]
    flags: NDArray[np.int8]
    arrivals: NDArray[np.int8]
    reasons: Mapping[int, str] = field(default_factory=dict)

    def unit(self, place: int) -> str:
        """The unit of one reading."""
        return self.units if isinstance(self.units, str) else self.units[place]


def part(rows: Columns, first: int, last: int) -> Columns:
    """Some rows in a row."""
    units = rows.units if isinstance(rows.units, str) else rows.units[first:last]
    reasons = {place - first: why for place, why in rows.reasons.items() if first <= place < last}
    cut = slice(first, last)
    return Columns(
        rows.times_ms[cut], rows.raws[cut], units, rows.values[cut], rows.flags[cut], rows.arrivals[cut], reasons
    )


def picked(rows: Columns, which: NDArray[np.bool_]) -> Columns:
    """Some of the rows."""
    if which.all():
        return rows
    places = np.flatnonzero(which)
    if len(places) and places[-1] - places[0] + 1 == len(places):
        return part(rows, int(places[0]), int(places[-1]) + 1)
    units = rows.units if isinstance(rows.units, str) else [rows.units[place] for place in places.tolist()]
    reasons = {}
    if rows.reasons:
        reasons = {to: rows.reasons[at] for to, at in enumerate(places.tolist()) if at in rows.reasons}
    return Columns(
        rows.times_ms[places], rows.raws[places], units, rows.values[places], rows.flags[places],
        rows.arrivals[places], reasons,
    )  # fmt: skip


def joined(first: Columns, second: Columns) -> Columns:
    """Rows and later rows."""
    units: str | list[str] = first.units
    if isinstance(units, list) or units != second.units:
        units = [one.unit(place) for one in (first, second) for place in range(len(one.times_ms))]
    count = len(first.times_ms)
    return Columns(
        np.concatenate((first.times_ms, second.times_ms)),
        np.concatenate((first.raws, second.raws)),
        units,
        np.concatenate((first.values, second.values)),
        np.concatenate((first.flags, second.flags)),
        np.concatenate((first.arrivals, second.arrivals)),
        {**first.reasons, **{count + place: why for place, why in second.reasons.items()}},
    )


class PastStore(Protocol):
    """Kept readings as columns."""

    unjudged: UnjudgedStore

    def kept(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int, most: int = -1) -> Columns:
        """Kept readings from start (inside) to end (outside), in time order; ``most``: so many at most (-1: all)."""

    def before(self, probe: str, quantity: Quantity, time_ms: int) -> int | None:
        """The time of the newest kept reading before a time."""

    def after(self, probe: str, quantity: Quantity, time_ms: int) -> int | None:
        """The time of the oldest kept reading at or after a time."""

    def add(self, probe: str, quantity: Quantity, rows: Columns, *, derived: bool) -> None:
        """Keep readings of which none is kept yet; summaries and the newest reading follow."""

    def put(self, probe: str, quantity: Quantity, rows: Columns) -> None:
        """Put values, flags, reasons and arrivals of kept readings anew; summaries and the newest reading follow."""

    def mark(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> tuple[object, ...]:
        """A mark of what is kept from start (inside) to end (outside), another one when any of it has changed."""
