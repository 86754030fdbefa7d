"""One pass through a whole file for what only all of its rows can tell: its dates, its names, its doubled hour.

Must not do: keep more than the different texts of a column. Asked again for a file that has not changed, it answers
from memory.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from threading import Lock
from typing import TypeVar

import polars as pl

from api.intake import instants
from api.intake.errors import shown
from api.intake.header import Top
from api.intake.readings import APART, streams
from api.intake.recipe import Recipe
from api.intake.repeats import proved
from api.intake.rows import Table
from api.intake.time_text import ORDERS, day_ms, said
from api.intake.times import ORDER_WORDS

MOST_NAMES = 5000
_DATE = r"(?:^|[^\d])(\d{1,2}[-/.]\d{1,2}[-/.](?:\d{4}|\d{2})|\d{1,2}[-/ ][A-Za-z]{3,9}[-/ ]\d{2})(?:[^\d]|$)"
T = TypeVar("T")
MOST_KEPT = 16
_KEPT: OrderedDict[object, object] = OrderedDict()
_LOCK = Lock()
"""A page and a running import may look at files at the same time."""


def once(table: Table, key: object, find: Callable[[], T]) -> T:
    """What was found in this file before, as long as it has the same size and time of change."""
    state = table.source.stat()
    whole = (str(table.source.resolve()), state.st_size, state.st_mtime_ns, table.delimiter, table.sheet, key)
    with _LOCK:
        if whole in _KEPT:
            _KEPT.move_to_end(whole)
            return _KEPT[whole]  # type: ignore[return-value]  # kept under a key that names its kind
    found = find()
    with _LOCK:
        _KEPT[whole] = found
        while len(_KEPT) > MOST_KEPT:
            _KEPT.popitem(last=False)
    return found


def names(table: Table, top: Top, places: Sequence[int]) -> dict[tuple[str, ...], int]:
    """The different texts of some columns together, with the line each was first seen in."""

    def find() -> dict[tuple[str, ...], int]:
        found: dict[tuple[str, ...], int] = {}
        for part in table.parts(top.data_line, top.width):
            frame = part.cells.frame.select(
                [pl.nth(at).cast(pl.String).fill_null("").str.strip_chars().alias(f"n{at}") for at in places]
            )
            frame = frame.with_columns(pl.Series("line", part.cells.lines))
            for *texts, line in frame.unique(frame.columns[:-1], keep="first", maintain_order=True).iter_rows():
                if len(found) < MOST_NAMES:
                    found.setdefault(tuple(texts), line)
        return found

    return once(table, ("names", tuple(places), top.data_line), find)


def dates(table: Table, top: Top, place: int) -> dict[str, int]:
    """The different dates whose order of day, month and year is not written, with the line each was first seen in."""

    def find() -> dict[str, int]:
        found: dict[str, int] = {}
        for part in table.parts(top.data_line, top.width):
            column = part.cells.frame.to_series(place).cast(pl.String)
            frame = pl.DataFrame({"date": column.str.extract(_DATE, 1), "line": part.cells.lines})
            for text, line in frame.drop_nulls().unique("date", keep="first", maintain_order=True).iter_rows():
                found.setdefault(text, line)
        return found

    return once(table, ("dates", place, top.data_line), find)


@dataclass(frozen=True, slots=True)
class Order:
    """The orders that all dates allow, and in words what proves or contradicts them."""

    possible: tuple[str, ...]
    proof: str


def order(found: Mapping[str, int]) -> Order:
    """Which order of day, month and year a whole file's dates have. A date that is none in any order tells nothing."""
    possible, only = list(ORDERS), {}
    for text, line in found.items():
        date = said(text)
        if date is None or date.date is None:
            continue
        fits = [one for one in date.orders if day_ms(date.date, one) is not None]
        if not fits:
            continue
        gone = [one for one in possible if one not in fits]
        possible = [one for one in possible if one in fits]
        for one in gone:
            only[one] = f"line {line} has {shown(text)}, which cannot be {ORDER_WORDS[one]}"
    proof = "; ".join(dict.fromkeys(only[one] for one in only if one != "ymd" or not possible))
    return Order(tuple(possible), proof)


def repeats(table: Table, top: Top, recipe: Recipe) -> dict[str, tuple[list[int], int]]:
    """The times in doubled hours by stream, in the order of the file, each with the line of its first."""

    def find() -> dict[str, tuple[list[int], int]]:
        found: dict[str, tuple[list[int], int]] = {}
        places = {name: at for at, name in enumerate(top.names)}
        for part in table.parts(top.data_line, top.width):
            read = instants.read(part.cells.frame, places, recipe)
            if not read.doubled.any():
                continue
            keys = streams(part.cells.frame, places, recipe)
            for row in read.doubled.nonzero()[0].tolist():
                stream = "" if keys is None else keys[row]
                times, _ = found.setdefault(stream, ([], int(part.cells.lines[row])))
                times.append(int(read.local_ms[row]))
        return found

    return once(table, ("repeats", repr(recipe.time), repr(recipe.columns), top.data_line), find)


def unsettled(found: Mapping[str, tuple[list[int], int]], *, falling: bool) -> tuple[str, int] | None:
    """A stream whose doubled hour the order of its rows does not settle, with the line; None when all are settled."""
    for stream, (times, line) in found.items():
        if not proved(times, falling=falling):
            return stream.replace(APART, ", "), line
    return None
