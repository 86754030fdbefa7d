"""Whole spans of readings in and out of SQLite, column by column.

Summaries and the channel's newest reading follow in the same transaction. Must not do: change a kept reading.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from itertools import chain, repeat

import numpy as np

from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.science.arrays import Bools
from api.storage.base import SUMMARY_STEPS_S
from api.storage.past_base import Columns
from api.storage.readings import NEWEST, NEWEST_WINS, SUMMARISE, SUMMED
from api.storage.revisions import REWRITE, follow
from api.storage.unjudged import SqliteUnjudged
from api.storage.unjudged_base import UnjudgedStore

KEPT = """
    SELECT time_ms, raw, unit, value, flag, arrival, reason FROM reading
    WHERE channel = ? AND time_ms >= ? AND time_ms < ? ORDER BY time_ms LIMIT ?
"""
MARK = """
    SELECT count(*), min(time_ms), max(time_ms), total(value), sum(flag), sum(arrival), total(length(reason))
    FROM reading WHERE channel = ? AND time_ms >= ? AND time_ms < ?
"""
GOOD = "(?1, ?{}, ?{}, ?2, ?{}, 1, NULL, {arrival})"
"""Time, raw and value of a good reading; ?1 is its channel, ?2 its unit. What is good has no reason."""
SPAN = "({step_s}, ?1, ?{}, ?{}, ?{}, ?{}, ?{}, ?{}, ?{})"
TOGETHER = (250, 25, 1)
"""Rows in one statement: each statement is a hand-over between threads, and half of what a row costs."""
INSERT_NEW = "INSERT INTO reading VALUES"
OTHERS = "INSERT INTO reading VALUES ({channel}, ?, ?, ?, ?, ?, ?, {arrival})"
TEN = f"({', '.join('?' * 10)})"


class SqlitePast:
    """A ``PastStore`` on SQLite."""

    def __init__(self, connection: sqlite3.Connection, reader: Callable[[], sqlite3.Connection]) -> None:
        self._connection, self._reader = connection, reader
        self.unjudged: UnjudgedStore = SqliteUnjudged(connection, reader)

    def _id(self, probe: str, quantity: Quantity) -> int:
        sql = "SELECT id FROM channel WHERE probe = ? AND quantity = ?"
        row = self._reader().execute(sql, (probe, quantity)).fetchone()
        return -1 if row is None else int(row[0])

    def kept(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int, most: int = -1) -> Columns:
        """Kept readings of a span."""
        rows = self._reader().execute(KEPT, (self._id(probe, quantity), start_ms, end_ms, most)).fetchall()
        columns = list(zip(*rows, strict=True)) if rows else [()] * 7
        times_ms, raws, units, values, flags, arrivals, reasons = columns
        return Columns(
            np.array(times_ms, np.int64),
            np.array(raws, np.float64),
            units[0] if len(set(units)) == 1 else list(units),
            np.array(values, np.float64),
            np.array(flags, np.int8),
            np.array(arrivals, np.int8),
            {place: why for place, why in enumerate(reasons) if why is not None},
        )

    def mark(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> tuple[object, ...]:
        """A mark of a span."""
        row: tuple[object, ...] = self._reader().execute(MARK, (self._id(probe, quantity), start_ms, end_ms)).fetchone()
        return row

    def before(self, probe: str, quantity: Quantity, time_ms: int) -> int | None:
        """The newest reading before a time."""
        return self._one("max(time_ms)", "time_ms < ?", probe, quantity, time_ms)

    def after(self, probe: str, quantity: Quantity, time_ms: int) -> int | None:
        """The oldest reading from a time on."""
        return self._one("min(time_ms)", "time_ms >= ?", probe, quantity, time_ms)

    def _one(self, what: str, where: str, probe: str, quantity: Quantity, time_ms: int) -> int | None:
        sql = f"SELECT {what} FROM reading WHERE channel = ? AND {where}"  # noqa: S608 - literals above
        found: int | None = self._reader().execute(sql, (self._id(probe, quantity), time_ms)).fetchone()[0]
        return found

    def add(self, probe: str, quantity: Quantity, rows: Columns, *, derived: bool) -> None:
        """Keep new readings."""
        if not len(rows.times_ms):
            return
        channel, last_ms = self._channel(probe, quantity, derived)
        for arrival in np.unique(rows.arrivals).tolist():
            self._insert(channel, rows, rows.arrivals == arrival, arrival)
        for step_s in SUMMARY_STEPS_S:
            self._put(SUMMARISE, SPAN.replace("{step_s}", str(step_s)), SUMMED, (channel,), _summaries(step_s, rows))
        if rows.times_ms[-1] > last_ms:
            self._newest(channel, probe, quantity, rows, derived)

    def put(self, probe: str, quantity: Quantity, rows: Columns) -> None:
        """Put kept readings anew."""
        if not len(rows.times_ms):
            return
        channel, reasons = self._id(probe, quantity), [rows.reasons.get(n) or None for n in range(len(rows.times_ms))]
        columns = [one.tolist() for one in (rows.values, rows.flags, rows.arrivals, rows.times_ms)]
        values, flags, arrivals, times_ms = columns
        anew = zip(values, flags, reasons, arrivals, repeat(channel), times_ms, strict=False)
        self._connection.executemany(REWRITE, anew)
        follow(self._connection, channel, times_ms[0], times_ms[-1])

    def _insert(self, channel: int, rows: Columns, mine: Bools, arrival: int) -> None:
        good = mine & (rows.flags == Flag.GOOD)
        if isinstance(rows.units, str):
            said = [column[good].tolist() for column in (rows.times_ms, rows.raws, rows.values)]
            self._put(INSERT_NEW, GOOD.replace("{arrival}", str(arrival)), "", (channel, rows.units), said)
        else:
            good = np.zeros(len(good), dtype=bool)
        others = np.flatnonzero(mine & ~good)
        if len(others):
            reasons = [rows.reasons.get(place) for place in others.tolist()]
            bound = zip(_bound(rows, mine & ~good), rows.flags[others].tolist(), reasons, strict=True)
            self._connection.executemany(
                OTHERS.format(channel=channel, arrival=arrival),
                ((*said, flag, reason or None) for said, flag, reason in bound),
            )

    def _put(
        self, head: str, row: str, tail: str, shared: tuple[int | str, ...], columns: Sequence[Sequence[float | None]]
    ) -> None:
        """Rows, given by their columns, many in one statement; ``shared`` is the same in all of them."""
        width, flat = len(columns), list(chain.from_iterable(zip(*columns, strict=True)))
        place = 0
        for count in TOGETHER:
            sql = _statement(head, row, tail, len(shared), width, count)
            while len(flat) - place >= count * width:
                self._connection.execute(sql, [*shared, *flat[place : place + count * width]])
                place += count * width

    def _channel(self, probe: str, quantity: Quantity, derived: bool) -> tuple[int, int]:
        """Id and newest time of a channel, made at its first reading."""
        sql = "SELECT id, last_ms FROM channel WHERE probe = ? AND quantity = ?"
        row = self._connection.execute(sql, (probe, quantity)).fetchone()
        if row is not None:
            return int(row[0]), int(row[1])
        sql = "INSERT INTO channel (probe, quantity, derived) VALUES (?, ?, ?)"
        return int(self._connection.execute(sql, (probe, quantity, int(derived))).lastrowid or 0), -1

    def _newest(self, channel: int, probe: str, quantity: Quantity, rows: Columns, derived: bool) -> None:
        place = len(rows.times_ms) - 1
        value = float(rows.values[place])
        flag, reason = int(rows.flags[place]), rows.reasons.get(place, "")
        said = (float(rows.raws[place]), rows.unit(place))
        newest = (channel, probe, quantity, int(derived), int(rows.times_ms[place]), value, flag, reason, *said)
        self._connection.execute(f"{NEWEST} {TEN} {NEWEST_WINS}", newest)


def _bound(rows: Columns, which: Bools) -> Iterator[tuple[int, float, str, float]]:
    """Time, raw, unit and value of some rows; SQLite takes NaN for no value."""
    times_ms, raws, values = rows.times_ms[which].tolist(), rows.raws[which].tolist(), rows.values[which].tolist()
    if isinstance(rows.units, str):
        units = [rows.units] * len(times_ms)
    else:
        units = [unit for unit, taken in zip(rows.units, which.tolist(), strict=True) if taken]
    return zip(times_ms, raws, units, values, strict=True)


@lru_cache(maxsize=64)
def _statement(head: str, row: str, tail: str, shared: int, width: int, count: int) -> str:
    """An insert of so many rows of so many values each, behind so many that all of them share."""
    rows = (row.format(*range(first, first + width)) for first in range(shared + 1, shared + 1 + count * width, width))
    return f"{head} {', '.join(rows)} {tail}"


def _summaries(step_s: int, rows: Columns) -> list[list[float | None]]:
    """What rows add to their spans of one length, column by column."""
    usable = np.isfinite(rows.values) & (rows.flags <= Flag.SUSPECT)
    value = np.where(usable, rows.values, 0.0)
    parts = (
        (usable, np.add, np.int64),
        (value, np.add, np.float64),
        (value * value, np.add, np.float64),
        (np.where(usable, rows.values, np.inf), np.minimum, np.float64),
        (np.where(usable, rows.values, -np.inf), np.maximum, np.float64),
        (rows.flags >= Flag.SUSPECT, np.add, np.int64),
    )
    spans = rows.times_ms // (step_s * 1000)
    first = np.flatnonzero(np.r_[True, spans[1:] != spans[:-1]])
    count, total, squares, low, high, flagged = (
        which.reduceat(part.astype(kind), first) for part, which, kind in parts
    )
    low[count == 0] = high[count == 0] = np.nan
    return [one.tolist() for one in (spans[first] * (step_s * 1000), count, total, squares, low, high, flagged)]
