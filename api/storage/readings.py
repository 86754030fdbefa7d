"""Readings and their 5-minute and 1-hour summaries in SQLite, kept in the same transaction.

Must not do: change a reading that is already kept.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence

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
            fresh = [place for place in places if self._keep(channel, readings[place])]
            for place in fresh:
                new[place] = True
            if fresh:
                self._summarise(channel, [readings[place] for place in fresh])
                newest = max((readings[place] for place in fresh), key=lambda r: r.time_ms)
                if newest.time_ms > last_ms:
                    r = newest
                    row = (r.time_ms, r.value, int(r.flag), r.reason, r.raw_value, r.raw_unit, channel)
                    self._connection.execute(NEWEST, row)
        return new

    def _keep(self, channel: int, reading: CheckedReading) -> bool:
        r = reading
        row = (channel, r.time_ms, r.raw_value, r.raw_unit, r.value, int(r.flag), r.reason or None)
        return self._connection.execute(INSERT, row).rowcount == 1

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
        for step_s in SUMMARY_STEPS_S:
            step_ms = step_s * 1000
            spans: dict[int, list[CheckedReading]] = {}
            for reading in readings:
                spans.setdefault(reading.time_ms - reading.time_ms % step_ms, []).append(reading)
            for start_ms, inside in spans.items():
                values = [r.value for r in inside if r.value is not None and r.flag <= Flag.SUSPECT]
                row = (
                    step_s,
                    channel,
                    start_ms,
                    len(values),
                    sum(values),
                    sum(v * v for v in values),
                    min(values, default=None),
                    max(values, default=None),
                    sum(r.flag >= Flag.SUSPECT for r in inside),
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
