"""What one file says of one channel, as columns; read at once where nothing in the file is odd, and joined over files.

Must not do: refuse a row; where one would be, the file is left to the reader that tells it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.science.arrays import Floats, Ints
from api.services.recording import Key, Recording

NAMES = ("probe", "quantity", "time", "value", "unit")
FILE_PLACES = 10**12
"""Rows of a later file stand behind all rows of an earlier one."""
WITH_ZONE = r"^\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d(\.\d{1,6})?(Z|[+-]\d\d:\d\d)$"


@dataclass(frozen=True, slots=True)
class Part:
    """One channel's rows of one file, in the file's order. ``units``: one for all, or one each."""

    key: Key
    times_ms: Ints
    raws: Floats
    units: Sequence[str]
    places: Ints


def parts_of(readings: Iterable[RawReading], number: int) -> list[Part]:
    """Readings of a file as parts; ``number``: which file it is."""
    found: dict[Key, list[tuple[int, float, str, int]]] = {}
    for place, one in enumerate(readings):
        row = (one.time_ms, one.value, one.unit, number * FILE_PLACES + place)
        found.setdefault((one.probe, one.quantity), []).append(row)
    return [
        Part(
            key, np.array([row[0] for row in rows], np.int64), np.array([row[1] for row in rows], np.float64),
            [row[2] for row in rows], np.array([row[3] for row in rows], np.int64),
        )
        for key, rows in found.items()
    ]  # fmt: skip


def quick_parts(path: Path, columns: Sequence[int], derived: int | None, number: int) -> list[Part] | None:
    """All of a file; None where any of it is odd. ``columns``: places of probe, quantity, time, value and unit."""
    try:
        whole = pl.read_csv(path, infer_schema=False, raise_if_empty=False)
    except (pl.exceptions.PolarsError, OSError):
        return None
    if whole.width <= max(*columns, derived or 0) or not whole.height:
        return None
    named = whole.select(pl.nth(at).alias(name) for name, at in zip(NAMES, columns, strict=True)).with_row_index(
        "place"
    )
    if derived is not None:
        named = named.filter(whole[:, derived].fill_null("") != "true")
    time = pl.when(pl.col("time").str.contains(WITH_ZONE)).then(pl.col("time"))
    moment = time.str.to_datetime("%+", time_unit="us", time_zone="UTC", strict=False)
    made = named.with_columns(
        pl.col("value").cast(pl.Float64, strict=False), moment.dt.epoch("us").floordiv(1000).alias("time")
    )
    if sum(made.null_count().row(0)) or not made["value"].is_finite().all():
        return None
    parts = []
    for (probe, quantity, unit), rows in made.group_by("probe", "quantity", "unit", maintain_order=True):
        key = _key(str(probe), str(quantity), str(unit))
        if key is None:
            return None
        places = rows["place"].cast(pl.Int64).to_numpy() + number * FILE_PLACES
        times = rows["time"].cast(pl.Int64).to_numpy()
        parts.append(Part(key, times, rows["value"].to_numpy(), [str(unit)], places))
    return parts


def _key(probe: str, quantity: str, unit: str) -> Key | None:
    """A channel whose names can be used as they are."""
    try:
        one = RawReading(probe, Quantity(quantity), 0, 0.0, unit)
    except (InputError, ValueError):
        return None
    return (one.probe, one.quantity) if unit == unit.strip().lstrip("'") else None


def joined(parts: Iterable[Part]) -> list[Recording]:
    """Each channel's rows in the order of time; of two of one time the first is kept."""
    found: dict[Key, list[Part]] = {}
    for part in parts:
        if len(part.times_ms):
            found.setdefault(part.key, []).append(part)
    out = []
    for key, some in found.items():
        times, places = (np.concatenate([getattr(one, name) for one in some]) for name in ("times_ms", "places"))
        order = np.lexsort((places, times))
        order = order[np.concatenate([[True], np.diff(times[order]) > 0])]
        raws = np.concatenate([one.raws for one in some])[order]
        out.append(Recording(*key, times[order], raws, _units(some, order), places[order]))
    return out


def _units(some: Sequence[Part], order: Ints) -> str | list[str]:
    """One unit for all, or that of each row."""
    names = {unit for one in some for unit in one.units}
    if len(names) == 1:
        return names.pop()
    each = [unit for one in some for unit in (one.units if len(one.units) > 1 else list(one.units) * len(one.times_ms))]
    return [each[at] for at in order.tolist()]
