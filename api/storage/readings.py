"""Readings and their 5-minute and 1-hour summaries in SQLite, kept in the same transaction.

Must not do: change a reading that is already kept.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from itertools import groupby, pairwise

from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag
from api.storage.base import SUMMARY_STEPS_S, Channel
from api.storage.spans import KeptSpan, Summary

INSERT = "INSERT OR IGNORE INTO reading VALUES"
NEWEST = "INSERT INTO channel VALUES"
NEWEST_WINS = """
    ON CONFLICT (id) DO UPDATE SET last_ms = excluded.last_ms, last_value = excluded.last_value,
        last_flag = excluded.last_flag, last_reason = excluded.last_reason, last_raw = excluded.last_raw,
        last_unit = excluded.last_unit
"""
SUMMARISE = "INSERT INTO summary VALUES"
SUMMED = """
    ON CONFLICT DO UPDATE SET count = count + excluded.count, sum = sum + excluded.sum,
        sum_squares = sum_squares + excluded.sum_squares,
        low = min(ifnull(low, excluded.low), ifnull(excluded.low, low)),
        high = max(ifnull(high, excluded.high), ifnull(excluded.high, high)), flagged = flagged + excluded.flagged
"""
HOUR_MEANS = """
    SELECT start_ms, sum / count FROM summary
    WHERE step_s = 3600 AND channel = ? AND start_ms >= ? AND start_ms < ? AND count > 0 ORDER BY start_ms
"""
KEPT_SPANS = """
    SELECT start_ms, count, sum, low, high, flagged FROM summary
    WHERE step_s = ? AND channel = ? AND start_ms >= ? AND start_ms < ? ORDER BY start_ms
"""
ROWS_TOGETHER = 60
"""Rows in one statement: each statement is a hand-over between threads, and 60 rows of ten stay below the limit."""
SPANS = """
    SELECT start_ms - start_ms % :span AS span, sum(count), sum(sum), min(low), max(high), sum(flagged)
    FROM summary WHERE step_s = :step AND channel = :channel AND start_ms >= :start AND start_ms < :end
    GROUP BY span ORDER BY span
"""


Row = tuple[int | float | str | None, ...]


class SqliteReadings:
    """A ``ReadingStore`` on SQLite."""

    def __init__(self, connection: sqlite3.Connection, reader: Callable[[], sqlite3.Connection]) -> None:
        self._connection, self._reader = connection, reader

    def append(self, readings: Sequence[CheckedReading]) -> list[bool]:
        """Keep readings and their summaries; per reading True when it was new."""
        if not readings:
            return []
        by_channel: dict[tuple[str, Quantity], list[int]] = {}
        for place, reading in enumerate(readings):
            by_channel.setdefault((reading.probe, reading.quantity), []).append(place)
        new = [True] * len(readings)
        fresh: list[Row] = []
        summaries: list[Row] = []
        newest: list[Row] = []
        known = self._known(list(by_channel))
        for key, places in by_channel.items():
            channel, last_ms = known.get(key) or (self._new(*key, readings[places[0]].derived), -1)
            places.sort(key=lambda place: readings[place].time_ms)
            kept = [readings[place] for place in places]
            rows = [_row(channel, reading) for reading in kept]
            if kept[0].time_ms > last_ms and all(one.time_ms < other.time_ms for one, other in pairwise(kept)):
                fresh.extend(rows)
            else:
                for place, row in zip(places, rows, strict=True):
                    new[place] = self._connection.execute(f"{INSERT} (?, ?, ?, ?, ?, ?, ?, ?)", row).rowcount == 1
                kept = [readings[place] for place in places if new[place]]
            summaries.extend(_summaries(channel, kept))
            if kept and kept[-1].time_ms > last_ms:
                r = kept[-1]
                newest.append(
                    (channel, *key, int(r.derived), r.time_ms, r.value, int(r.flag), r.reason, r.raw_value, r.raw_unit)
                )
        self._all(INSERT, fresh, "")
        self._all(SUMMARISE, summaries, SUMMED)
        self._all(NEWEST, newest, NEWEST_WINS)
        return new

    def _all(self, head: str, rows: list[Row], tail: str) -> None:
        """Insert rows, many in one statement."""
        for start in range(0, len(rows), ROWS_TOGETHER):
            some = rows[start : start + ROWS_TOGETHER]
            marks = f"({', '.join('?' * len(some[0]))})"
            self._connection.execute(
                f"{head} {', '.join([marks] * len(some))} {tail}", [v for row in some for v in row]
            )

    def _known(self, keys: list[tuple[str, Quantity]]) -> dict[tuple[str, str], tuple[int, int]]:
        """Id and newest time of channels; asked in the open transaction, never cached."""
        marks = ", ".join(["(?, ?)"] * len(keys))
        sql = f"SELECT probe, quantity, id, last_ms FROM channel WHERE (probe, quantity) IN (VALUES {marks})"  # noqa: S608
        rows = self._connection.execute(sql, [part for key in keys for part in key])
        return {(probe, quantity): (channel, last_ms) for probe, quantity, channel, last_ms in rows}

    def _new(self, probe: str, quantity: Quantity, derived: bool) -> int:
        """A channel, made at its first reading."""
        sql = "INSERT INTO channel (probe, quantity, derived) VALUES (?, ?, ?)"
        return int(self._connection.execute(sql, (probe, quantity, int(derived))).lastrowid or 0)

    def channels(self) -> list[Channel]:
        """Every channel ever seen, with its newest reading."""
        rows = self._reader().execute(
            "SELECT probe, quantity, derived, last_ms, last_value, last_flag, last_reason, last_raw, last_unit"
            " FROM channel ORDER BY probe, id"
        )
        return [
            Channel(p, Quantity(q), bool(d), ms, v, Flag(f), why, raw, unit)
            for p, q, d, ms, v, f, why, raw, unit in rows
        ]

    def _id(self, probe: str, quantity: Quantity) -> int:
        sql = "SELECT id FROM channel WHERE probe = ? AND quantity = ?"
        row = self._reader().execute(sql, (probe, quantity)).fetchone()
        return -1 if row is None else int(row[0])

    def recent(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> list[tuple[int, float | None, int]]:
        """(time_ms, value, flag) of one channel in a span."""
        return (
            self._reader()
            .execute(
                "SELECT time_ms, value, flag FROM reading WHERE channel = ? AND time_ms >= ? AND time_ms < ?"
                " ORDER BY time_ms",
                (self._id(probe, quantity), start_ms, end_ms),
            )
            .fetchall()
        )

    def summaries(
        self, probe: str, quantity: Quantity, start_ms: int, end_ms: int, step_s: int, span_ms: int
    ) -> list[Summary]:
        """Spans of ``span_ms`` from the summaries kept every ``step_s``."""
        rows = self._reader().execute(
            SPANS,
            {
                "span": span_ms,
                "step": step_s,
                "channel": self._id(probe, quantity),
                "start": start_ms - start_ms % (step_s * 1000),
                "end": end_ms,
            },
        )
        return [Summary(start, n, total / n if n else None, low, high, bad) for start, n, total, low, high, bad in rows]

    def hour_means(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> list[tuple[int, float]]:
        """Hours as they are kept, in numbers only: three years of fifty tanks are a million of them."""
        return self._reader().execute(HOUR_MEANS, (self._id(probe, quantity), start_ms, end_ms)).fetchall()

    def kept_spans(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int, step_s: int) -> list[KeptSpan]:
        """Summaries as they are kept."""
        asked = (step_s, self._id(probe, quantity), start_ms, end_ms)
        return self._reader().execute(KEPT_SPANS, asked).fetchall()

    def count(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int, most: int) -> int:
        """How many readings there are, counting no further than ``most``."""
        sql = "SELECT count(*) FROM (SELECT 1 FROM reading WHERE channel = ? AND time_ms >= ? AND time_ms < ? LIMIT ?)"
        row = self._reader().execute(sql, (self._id(probe, quantity), start_ms, end_ms, most)).fetchone()
        return int(row[0])


def _row(channel: int, r: CheckedReading) -> Row:
    return (channel, r.time_ms, r.raw_value, r.raw_unit, r.value, int(r.flag), r.reason or None, int(r.arrival))


def _summaries(channel: int, readings: list[CheckedReading]) -> list[Row]:
    """What readings, in time order, add to their spans; nearly always they lie in one span of each length."""
    out: list[Row] = []
    same: tuple[int | float | None, ...] | None = None
    for step_s in SUMMARY_STEPS_S:
        step_ms = step_s * 1000
        if readings and readings[0].time_ms // step_ms == readings[-1].time_ms // step_ms:
            same = same or _summed(readings)
            out.append((step_s, channel, readings[0].time_ms // step_ms * step_ms, *same))
            continue
        for number, inside in groupby(readings, partial(_span_number, step_ms)):
            out.append((step_s, channel, number * step_ms, *_summed(inside)))
    return out


def _summed(readings: Iterable[CheckedReading]) -> tuple[int | float | None, ...]:
    """Count, sum, sum of squares, lowest, highest of the usable values, and how many readings are flagged."""
    values = []
    flagged = 0
    for r in readings:
        if r.value is not None and r.flag <= Flag.SUSPECT:
            values.append(r.value)
        if r.flag >= Flag.SUSPECT:
            flagged += 1
    squares = sum([value * value for value in values])
    return len(values), sum(values), squares, min(values, default=None), max(values, default=None), flagged


def _span_number(step_ms: int, reading: CheckedReading) -> int:
    return reading.time_ms // step_ms
