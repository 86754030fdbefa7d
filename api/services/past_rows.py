"""Recorded readings on their way in: put into the order of time, what cannot be kept refused, what is kept compared.

Must not do: convert or judge; or take a value in the place of one that is kept already.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.intake.block import RefusedRow, Series
from api.science.arrays import Floats, Ints
from api.services.convert import same_unit
from api.services.ingest import refuse_time
from api.services.keeping import Conflict
from api.storage.past_base import Columns

Key = tuple[str, Quantity]


@dataclass(frozen=True, slots=True)
class Given:
    """Readings of one channel in the order of time, those of one moment in the order of the file."""

    times_ms: Ints
    raws: Floats
    units: str | list[str]
    lines: Ints

    def take(self, which: Ints | NDArray[np.bool_] | slice) -> Given:
        """Some of them."""
        units = self.units if isinstance(self.units, str) else np.array(self.units, dtype=object)[which].tolist()
        return Given(self.times_ms[which], self.raws[which], units, self.lines[which])

    def unit(self, place: int) -> str:
        """The unit of one of them."""
        return self.units if isinstance(self.units, str) else self.units[place]


@dataclass(slots=True)
class Tally:
    """What became of rows."""

    accepted: int = 0
    duplicate: int = 0
    conflicts: list[Conflict] = field(default_factory=list)

    def add(self, other: Tally) -> None:
        """And of more rows."""
        self.accepted += other.accepted
        self.duplicate += other.duplicate
        self.conflicts += other.conflicts


def gathered(series: Iterable[Series], now_ms: int) -> tuple[dict[Key, Given], list[RefusedRow]]:
    """Each channel's rows in the order of time, and the rows that cannot be kept."""
    refused: list[RefusedRow] = []
    parts: dict[Key, list[Given]] = {}
    for one in series:
        given = _usable(one, now_ms, refused)
        if len(given.times_ms):
            parts.setdefault((one.probe, one.quantity), []).append(given)
    return {key: _together(found) for key, found in parts.items()}, refused


def _usable(one: Series, now_ms: int, refused: list[RefusedRow]) -> Given:
    """A series without the rows that no live reading could be."""
    given = Given(one.times_ms, one.values, one.unit, one.lines)
    try:
        RawReading(one.probe, one.quantity, 0, 0.0, one.unit)
    except InputError as error:
        refused += [RefusedRow(line, str(one.quantity), one.unit, str(error)) for line in one.lines.tolist()]
        return given.take(slice(0))
    odd = ~np.isfinite(one.values)
    for place in np.flatnonzero(odd).tolist():
        refused.append(RefusedRow(int(one.lines[place]), str(one.quantity), str(one.values[place]), "is no number"))
    off = np.zeros(len(odd), dtype=bool)
    if len(odd) and (refuse_time(int(one.times_ms.min()), now_ms) or refuse_time(int(one.times_ms.max()), now_ms)):
        off = np.fromiter((bool(refuse_time(time_ms, now_ms)) for time_ms in one.times_ms.tolist()), bool, len(odd))
    for place in np.flatnonzero(off & ~odd).tolist():
        time_ms = int(one.times_ms[place])
        shown = str(np.datetime64(time_ms, "ms")) + "Z"
        refused.append(RefusedRow(int(one.lines[place]), "time", shown, refuse_time(time_ms, now_ms)))
    fine = ~(odd | off)
    return given if fine.all() else given.take(fine)


def _together(parts: Sequence[Given]) -> Given:
    """One channel's rows in the order of time, then of the file."""
    given = parts[0]
    if len(parts) > 1:
        units = [one.unit(place) for one in parts for place in range(len(one.lines))]
        given = Given(
            np.concatenate([one.times_ms for one in parts]),
            np.concatenate([one.raws for one in parts]),
            units,
            np.concatenate([one.lines for one in parts]),
        )
    if len(parts) == 1 and (np.diff(given.times_ms) > 0).all():
        return given
    return given.take(np.lexsort((given.lines, given.times_ms)))


def sifted(key: Key, given: Given, kept: Columns, tally: Tally) -> Given:
    """The rows whose moment is not kept yet; of the others, which say the same and which do not."""
    again = np.r_[False, given.times_ms[1:] == given.times_ms[:-1]]
    known = np.zeros(len(again), dtype=bool)
    if len(kept.times_ms):
        at = np.minimum(np.searchsorted(kept.times_ms, given.times_ms), len(kept.times_ms) - 1)
        known = kept.times_ms[at] == given.times_ms
        _compare(key, given, np.flatnonzero(known), kept, at[known], tally)
    if (again & ~known).any():
        places = np.flatnonzero(again & ~known)
        first = Columns(given.times_ms, given.raws, given.units, given.raws, known, known)
        _compare(key, given, places, first, np.searchsorted(given.times_ms, given.times_ms[places]), tally)
    fresh = ~(known | again)
    tally.accepted += int(fresh.sum())
    return given if fresh.all() else given.take(fresh)


def _compare(key: Key, given: Given, places: Ints, kept: Columns, rows: Ints, tally: Tally) -> None:
    """Rows beside what is kept of their moments."""
    same = given.raws[places] == kept.raws[rows]
    if not (isinstance(given.units, str) and isinstance(kept.units, str) and _same(key, given.units, kept.units)):
        units = [(given.unit(place), kept.unit(row)) for place, row in zip(places.tolist(), rows.tolist(), strict=True)]
        same &= np.fromiter((_same(key, *both) for both in units), bool, len(units))
    tally.duplicate += int(same.sum())
    for place, row in zip(places[~same].tolist(), rows[~same].tolist(), strict=True):
        line, time_ms = int(given.lines[place]), int(given.times_ms[place])
        was = (float(kept.raws[row]), kept.unit(row))
        tally.conflicts.append(Conflict(*key, line, time_ms, *was, float(given.raws[place]), given.unit(place)))


def _same(key: Key, unit: str, other: str) -> bool:
    return unit == other or same_unit(key[1], unit, other)
