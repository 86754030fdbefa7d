"""The times of some rows by a recipe: UTC milliseconds, and in words why a row has none.

Must not do: guess which of two times the doubled hour of daylight saving means; that is settled by ``repeated``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from api.intake.label_words import Role
from api.intake.numbers import read_numbers
from api.intake.recipe import Recipe, TimeRule
from api.intake.times import Times, read_texts
from api.intake.times import read_numbers as times_of_numbers
from api.intake.zones import meant

_MIDNIGHT = r"[ T](0?0:00(:00(\.0+)?)?|12:00(:00)? ?[Aa][Mm])$"
_NOUGHT = r"^\S*(1899|1900)\S*[ T]+"


@dataclass(slots=True)
class Instants:
    """``local_ms`` by the clock on the wall (UTC where ``aware``); both UTC times differ where ``doubled``."""

    local_ms: NDArray[np.int64]
    earlier_ms: NDArray[np.int64]
    later_ms: NDArray[np.int64]
    doubled: NDArray[np.bool_]
    aware: NDArray[np.bool_]
    bad: dict[int, str] = field(default_factory=dict)


def read(frame: pl.DataFrame, places: Mapping[str, int], recipe: Recipe) -> Instants:
    """Times of each row; ``places`` are the columns by name."""
    times = _times(frame, places, recipe)
    rule = recipe.time
    none = np.zeros(len(times.ms), np.bool_)
    if times.aware.all() or not rule.zone:
        for row in np.flatnonzero(~times.aware).tolist():
            times.bad.setdefault(row, "its time names no zone, and none was told")
        return Instants(times.ms, times.ms, times.ms, none, times.aware, times.bad)
    found = meant(times.ms, rule.zone)
    naive = ~times.aware
    for row in np.flatnonzero(found.missing & naive).tolist():
        clock = datetime.fromtimestamp(times.ms[row] / 1000, UTC).strftime("%Y-%m-%d %H:%M:%S")
        times.bad.setdefault(row, f"{clock} was never on the clock in {rule.zone}: it lies in the hour left out")
    earlier, later = (np.where(naive, one, times.ms) for one in (found.earlier_ms, found.later_ms))
    return Instants(times.ms, earlier, later, found.doubled & naive, times.aware, times.bad)


def _times(frame: pl.DataFrame, places: Mapping[str, int], recipe: Recipe) -> Times:
    """By the clock on the wall, or UTC where the rows say it."""
    rule, whole = recipe.time, recipe.of(Role.TIME)
    if whole is not None:
        column = frame.to_series(places[whole.name])
        if column.dtype.is_temporal():
            return _temporal(column)
        if rule.how != "text":
            return times_of_numbers(read_numbers(column, recipe.decimal).values, rule.how)
        texts = column.cast(pl.String)
        if rule.clock:
            texts = _with_clock(texts, rule)
    else:
        both = recipe.the(Role.DATE), recipe.the(Role.CLOCK)
        date, clock = (frame.to_series(places[one.name]).cast(pl.String) for one in both)
        texts = date.str.strip_chars().str.replace(_MIDNIGHT, "") + " " + _clocks(clock.str.strip_chars())
    offset = recipe.of(Role.OFFSET)
    if offset is not None:
        texts = texts + frame.to_series(places[offset.name]).cast(pl.String).str.strip_chars()
    return read_texts(texts, rule.order, dict(rule.marks))


def _clocks(texts: pl.Series) -> pl.Series:
    """Clock times as text; ``905`` and ``90500`` get the zero that a spreadsheet took from them."""
    texts = texts.str.replace(_NOUGHT, "")
    if not texts.str.contains(r"^\d{1,6}$").any():
        return texts
    bare, long = texts.str.contains(r"^\d{1,6}$"), texts.str.len_bytes() > 4
    filled = pl.when(long).then(texts.str.zfill(6)).otherwise(texts.str.zfill(4))
    return pl.select(pl.when(bare).then(filled).otherwise(texts)).to_series()


def _with_clock(texts: pl.Series, rule: TimeRule) -> pl.Series:
    """Dates that have no time of day get the one that was told."""
    bare = texts.str.contains(":", literal=True).not_()
    return pl.select(pl.when(bare).then(texts + f" {rule.clock}").otherwise(texts)).to_series()


def _temporal(column: pl.Series) -> Times:
    """Dates with times as a Parquet file types them; aware where the type names a zone."""
    zone = getattr(column.dtype, "time_zone", None)
    ms = column.cast(pl.Datetime("ms", zone)).to_physical()
    bad = {int(row): "it has no time" for row in np.flatnonzero(ms.is_null().to_numpy())}
    values = ms.fill_null(0).to_numpy()
    return Times(values, np.full(len(values), zone is not None), bad)
