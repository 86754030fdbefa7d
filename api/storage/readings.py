"""Readings and their 5-minute and 1-hour summaries in SQLite, kept in the same transaction.

Must not do: change a reading that is already kept.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from functools import partial
from itertools import groupby, pairwise

from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag
from api.storage.base import SUMMARY_STEPS_S, Channel, Summary

INSERT = "INSERT OR IGNORE INTO reading VALUES (?, ?, ?, ?, ?, ?, ?)"
NEWEST = (
    "UPDATE channel SET last_ms = ?, last_value = ?, last_flag = ?, last_reason = ?, last_raw = ?, last_unit = ?"
    " WHERE id = ?"
)
SUMMARISE = """
    INSERT INTO summary VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)
    ON CONFLICT DO UPDATE SET count = count + excluded.count, sum = sum + excluded.sum,
        sum_squares = sum_squares + excluded.sum_squares,
        low = min(ifnull(low, excluded.low), ifnull(excluded.low, low)),
        high = max(ifnull(high, excluded.high), ifnull(excluded.high, high)), flagged = flagged + excluded.flagged
"""
SPANS = """
    SELECT start_ms - start_ms % :span AS span, sum(count), sum(sum), min(low), max(high), sum(flagged)
    FROM summary WHERE step_s = :step AND channel = :channel AND start_ms >= :start AND start_ms < :end
    GROUP BY span ORDER BY span
"""


class SqliteReadings:
    """A ``ReadingStore`` on SQLite."""

    def __init__(self, connection: sqlite3.Connection, reader: Callable[[], sqlite3.Connection]) -> None:
        self._connection, self._reader = connection, reader

    def append(self, readings: Sequence[CheckedReading]) -> list[bool]:
        """Keep readings and their summaries; per reading True when it was new."""
        by_channel: dict[tuple[str, Quantity], list[int]] = {}
        for place, reading in enumerate(readings):
            by_channel.setdefault((reading.probe, reading.quantity), []).append(place)
        new = [False] * len(readings)
        for key, places in by_channel.items():
            channel, last_ms = self._channel(*key, readings[places[0]].derived)
            places.sort(key=lambda place: readings[place].time_ms)
            fresh = self._keep(channel, last_ms, [readings[place] for place in places])
            kept = [readings[place] for place, is_new in zip(places, fresh, strict=True) if is_new]
            for place, is_new in zip(places, fresh, strict=True):
                new[place] = is_new
            if kept:
                self._summarise(channel, kept)
                if kept[-1].time_ms > last_ms:
                    r = kept[-1]
                    row = (r.time_ms, r.value, int(r.flag), r.reason, r.raw_value, r.raw_unit, channel)
                    self._connection.execute(NEWEST, row)
        return new

    def _keep(self, channel: int, last_ms: int, readings: list[CheckedReading]) -> list[bool]:
        """Insert readings in time order; all at once when every one is newer than the newest kept."""
        rows = [(channel, r.time_ms, r.raw_value, r.raw_unit, r.value, int(r.flag), r.reason or None) for r in readings]
        if readings[0].time_ms > last_ms and all(one[1] < other[1] for one, other in pairwise(rows)):
            self._connection.executemany(INSERT, rows)
            return [True] * len(rows)
        return [self._connection.execute(INSERT, row).rowcount == 1 for row in rows]

    def _channel(self, probe: str, quantity: Quantity, derived: bool) -> tuple[int, int]:
        """Id and newest time of a channel, made at its first reading. Asked in the open transaction, never cached."""
        row = self._connection.execute(
            "SELECT id, last_ms FROM channel WHERE probe = ? AND quantity = ?", (probe, quantity)
        ).fetchone()
        if row is not None:
            return row[0], row[1]
        cursor = self._connection.execute(
            "INSERT INTO channel (probe, quantity, derived) VALUES (?, ?, ?)", (probe, quantity, int(derived))
        )
        return int(cursor.lastrowid or 0), -1

    def _summarise(self, channel: int, readings: list[CheckedReading]) -> None:
        """Add readings, in time order, to their spans; a run of readings in one span is one statement."""
        for step_s in SUMMARY_STEPS_S:
            step_ms = step_s * 1000
            for number, inside in groupby(readings, partial(_span_number, step_ms)):
                values = []
                flagged = 0
                for r in inside:
                    if r.value is not None and r.flag <= Flag.SUSPECT:
                        values.append(r.value)
                    if r.flag >= Flag.SUSPECT:
                        flagged += 1
                row = (
                    step_s,
                    channel,
                    number * step_ms,
                    len(values),
                    sum(values),
                    sum([value * value for value in values]),
                    min(values, default=None),
                    max(values, default=None),
                    flagged,
                )
                self._connection.execute(SUMMARISE, row)

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

    def count(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int, most: int) -> int:
        """How many readings there are, counting no further than ``most``."""
        sql = "SELECT count(*) FROM (SELECT 1 FROM reading WHERE channel = ? AND time_ms >= ? AND time_ms < ? LIMIT ?)"
        row = self._reader().execute(sql, (self._id(probe, quantity), start_ms, end_ms, most)).fetchone()
        return int(row[0])


def _span_number(step_ms: int, reading: CheckedReading) -> int:
    return reading.time_ms // step_ms
