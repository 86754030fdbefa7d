"""Alerts over time in SQLite. Must not do: count or judge them (``api/judge/performance.py``)."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence

from api.storage.history_base import AlertStepRow, StoodRow

STEP = "alert.id, subject, tank, kind, priority, event, time_ms, person, alert_event.text"
STOOD = ", ".join("id" if name == "alert" else name for name in StoodRow._fields)


class SqliteHistory:
    """An ``AlertHistoryStore`` on SQLite."""

    def __init__(self, connection: sqlite3.Connection, reader: Callable[[], sqlite3.Connection]) -> None:
        self._connection, self._reader = connection, reader

    def steps(self, start_ms: int, end_ms: int, events: Sequence[str] = ()) -> list[AlertStepRow]:
        """Steps of all alerts in a time."""
        some = f" AND event IN ({', '.join('?' * len(events))})" if events else ""
        sql = f"""
            SELECT {STEP} FROM alert_event JOIN alert ON alert.id = alert_event.alert
            WHERE time_ms >= ? AND time_ms < ?{some} ORDER BY time_ms, alert_event.id
            """  # noqa: S608 - our own columns
        return [AlertStepRow(*row) for row in self._reader().execute(sql, (start_ms, end_ms, *events))]

    def stood(self, start_ms: int, end_ms: int) -> list[StoodRow]:
        """Alerts that stood in a time."""
        sql = f"SELECT {STOOD} FROM alert WHERE since_ms < ? AND (ended_ms IS NULL OR ended_ms >= ?) ORDER BY since_ms"  # noqa: S608 - our own columns
        return [StoodRow(*row) for row in self._reader().execute(sql, (end_ms, start_ms))]
