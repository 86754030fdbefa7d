"""Second thoughts about kept readings in SQLite: flags revised, values made anew from raw, calibrations on record.

Must not do: change what a probe said (time, raw value, raw unit), or leave a summary behind its readings.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from api.domain.quantity import Quantity
from api.domain.reading import Arrival, Flag, KeptReading
from api.storage.base import SUMMARY_STEPS_S, CalibrationRow, Revision, Waiting

COLUMNS = "time_ms, raw, unit, value, flag, reason, arrival"
REWRITE = "UPDATE reading SET value = ?, flag = ?, reason = ?, arrival = ? WHERE channel = ? AND time_ms = ?"
REDERIVE = """
    INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET raw = excluded.raw,
        unit = excluded.unit, value = excluded.value, flag = excluded.flag, reason = excluded.reason,
        arrival = excluded.arrival
"""
FORGET = "DELETE FROM summary WHERE step_s = ? AND channel = ? AND start_ms >= ? AND start_ms < ?"
SUMMARISE = """
    INSERT INTO summary
    SELECT :step, channel, time_ms - time_ms % :ms AS span, sum(value IS NOT NULL AND flag <= 3),
        total(CASE WHEN flag <= 3 THEN value END), total(CASE WHEN flag <= 3 THEN value * value END),
        min(CASE WHEN flag <= 3 THEN value END), max(CASE WHEN flag <= 3 THEN value END), sum(flag >= 3)
    FROM reading WHERE channel = :channel AND time_ms >= :start AND time_ms < :end GROUP BY span
"""
NEWEST = """
    UPDATE channel SET last_ms = r.time_ms, last_value = r.value, last_flag = r.flag,
        last_reason = ifnull(r.reason, ''), last_raw = r.raw, last_unit = r.unit
    FROM (SELECT * FROM reading WHERE channel = :channel ORDER BY time_ms DESC LIMIT 1) AS r WHERE channel.id = :channel
"""
WAIT = """
    INSERT INTO waiting VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET start_ms = min(start_ms, excluded.start_ms),
        end_ms = max(end_ms, excluded.end_ms), touched_ms = excluded.touched_ms
"""


class SqliteRevisions:
    """A ``RevisionStore`` on SQLite."""

    def __init__(self, connection: sqlite3.Connection, reader: Callable[[], sqlite3.Connection]) -> None:
        self._connection, self._reader = connection, reader

    def revise(self, changes: Sequence[Revision]) -> None:
        """Change flags and reasons; summaries are made anew only where a reading is now flagged."""
        ids = {key: self._id(*key) for key in {(change.probe, change.quantity) for change in changes}}
        self._connection.executemany(
            "UPDATE reading SET flag = ?, reason = ? WHERE channel = ? AND time_ms = ?",
            [(int(c.flag), c.reason or None, ids[c.probe, c.quantity], c.time_ms) for c in changes],
        )
        for change in changes:
            if change.flag >= Flag.SUSPECT:
                channel = ids[change.probe, change.quantity]
                follow(self._connection, channel, change.time_ms, change.time_ms)

    def rows(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int, most: int = -1) -> list[KeptReading]:
        """Kept readings of a span."""
        where = "channel = ? AND time_ms >= ? AND time_ms < ? ORDER BY time_ms LIMIT ?"
        return self._read(where, (self._id(probe, quantity), start_ms, end_ms, most))

    def newest(self, probe: str, quantity: Quantity, before_ms: int, most: int) -> list[KeptReading]:
        """The newest readings before a time."""
        where = "channel = ? AND time_ms < ? ORDER BY time_ms DESC LIMIT ?"
        return self._read(where, (self._id(probe, quantity), before_ms, most))[::-1]

    def _read(self, where: str, values: tuple[int, ...]) -> list[KeptReading]:
        rows = self._reader().execute(f"SELECT {COLUMNS} FROM reading WHERE {where}", values)  # noqa: S608 - literals
        return [KeptReading(t, raw, unit, v, Flag(f), why or "", Arrival(a)) for t, raw, unit, v, f, why, a in rows]

    def rewrite(self, probe: str, quantity: Quantity, rows: Sequence[KeptReading]) -> None:
        """Put value, flag, reason and arrival anew."""
        if rows:
            channel = self._id(probe, quantity)
            changes = [(r.value, int(r.flag), r.reason or None, int(r.arrival), channel, r.time_ms) for r in rows]
            self._connection.executemany(REWRITE, changes)
            self._follow(channel, rows)

    def rederive(self, probe: str, quantity: Quantity, rows: Sequence[KeptReading]) -> None:
        """Put derived readings anew."""
        if not rows:
            return
        channel = self._id(probe, quantity)
        if channel < 0:
            sql = "INSERT INTO channel (probe, quantity, derived) VALUES (?, ?, 1)"
            channel = int(self._connection.execute(sql, (probe, quantity)).lastrowid or 0)
        self._connection.executemany(
            REDERIVE,
            [
                (channel, r.time_ms, r.raw_value, r.raw_unit, r.value, int(r.flag), r.reason or None, int(r.arrival))
                for r in rows
            ],
        )
        self._follow(channel, rows)

    def _follow(self, channel: int, rows: Sequence[KeptReading]) -> None:
        follow(self._connection, channel, rows[0].time_ms, rows[-1].time_ms)

    def _id(self, probe: str, quantity: Quantity) -> int:
        sql = "SELECT id FROM channel WHERE probe = ? AND quantity = ?"
        row = self._reader().execute(sql, (probe, quantity)).fetchone()
        return -1 if row is None else int(row[0])

    def wait(self, probe: str, quantity: Quantity, why: str, start_ms: int, end_ms: int, now_ms: int) -> None:
        """Note that a span has to be gone over."""
        self._connection.execute(WAIT, (probe, quantity, why, start_ms, end_ms, now_ms))

    def waiting(self) -> list[Waiting]:
        """Spans that wait, temperatures first: oxygen is derived with them."""
        sql = "SELECT probe, quantity, why, start_ms, end_ms, touched_ms FROM waiting ORDER BY quantity != ?, probe"
        rows = self._reader().execute(sql, (Quantity.TEMPERATURE,))
        return [Waiting(probe, Quantity(quantity), *rest) for probe, quantity, *rest in rows]

    def gone_over(self, span: Waiting, up_to_ms: int) -> None:
        """A span is done up to a time."""
        key = (span.probe, span.quantity, span.why)
        where = "probe = ? AND quantity = ? AND why = ?"
        self._connection.execute(f"UPDATE waiting SET start_ms = ? WHERE {where}", (up_to_ms, *key))  # noqa: S608
        self._connection.execute(f"DELETE FROM waiting WHERE {where} AND start_ms >= end_ms", key)  # noqa: S608

    def add_calibration(
        self, probe: str, quantity: Quantity, from_ms: int, body: Mapping[str, Any], now_ms: int
    ) -> int:
        """Keep a calibration."""
        sql = "INSERT INTO calibration (probe, quantity, from_ms, body, entered_ms) VALUES (?, ?, ?, ?, ?)"
        values = (probe, quantity, from_ms, json.dumps(body), now_ms)
        return int(self._connection.execute(sql, values).lastrowid or 0)

    def withdraw_calibration(self, calibration: int, person: str, now_ms: int) -> None:
        """Take a calibration out of force."""
        sql = "UPDATE calibration SET withdrawn_ms = ?, withdrawn_by = ? WHERE id = ? AND withdrawn_ms IS NULL"
        self._connection.execute(sql, (now_ms, person, calibration))

    def calibrations(self) -> list[CalibrationRow]:
        """Every calibration ever entered."""
        rows = self._reader().execute(
            "SELECT id, probe, quantity, from_ms, body, entered_ms, withdrawn_ms, withdrawn_by FROM calibration"
            " ORDER BY from_ms, id"
        )
        return [CalibrationRow(i, p, Quantity(q), f, json.loads(b), *rest) for i, p, q, f, b, *rest in rows]


def follow(connection: sqlite3.Connection, channel: int, first_ms: int, last_ms: int) -> None:
    """Summaries and the channel's newest reading follow readings of a span that were put anew."""
    for step_s in SUMMARY_STEPS_S:
        step_ms = step_s * 1000
        start_ms, end_ms = first_ms - first_ms % step_ms, last_ms - last_ms % step_ms + step_ms
        connection.execute(FORGET, (step_s, channel, start_ms, end_ms))
        span = {"step": step_s, "ms": step_ms, "channel": channel, "start": start_ms, "end": end_ms}
        connection.execute(SUMMARISE, span)
    connection.execute(NEWEST, {"channel": channel})
