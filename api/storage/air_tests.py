"""Air tests in SQLite. Must not do: decide when a test ends (``api/services/air_tests.py``)."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable

from api.storage.air_test_base import AirTestRow

COLUMNS = ", ".join(AirTestRow._fields)


class SqliteAirTests:
    """An ``AirTestStore`` on SQLite."""

    def __init__(self, connection: sqlite3.Connection, reader: Callable[[], sqlite3.Connection]) -> None:
        self._connection, self._reader = connection, reader

    def open(self, tank: str, person: str, off_ms: int) -> int:
        """Keep a new test and return its id."""
        sql = "INSERT INTO air_test (tank, person, off_ms) VALUES (?, ?, ?)"
        return int(self._connection.execute(sql, (tank, person, off_ms)).lastrowid or 0)

    def change(
        self, test: int, *, stop_ms: int | None = None, on_ms: int | None = None, ended_ms: int | None = None, why: str
    ) -> None:
        """Note the next step of a test."""
        sql = (
            "UPDATE air_test SET stop_ms = ifnull(?, stop_ms), on_ms = ifnull(?, on_ms), "
            "ended_ms = ifnull(?, ended_ms), why = CASE WHEN ? = '' THEN why ELSE ? END WHERE id = ?"
        )
        self._connection.execute(sql, (stop_ms, on_ms, ended_ms, why, why, test))

    def tests(self, tank: str | None = None, *, running: bool = False) -> list[AirTestRow]:
        """Tests, newest first."""
        sql = (
            f"SELECT {COLUMNS} FROM air_test WHERE (? IS NULL OR tank = ?) AND (ended_ms IS NULL OR NOT ?) "  # noqa: S608 - our own columns
            "ORDER BY id DESC LIMIT 1000"
        )
        return [AirTestRow(*row) for row in self._reader().execute(sql, (tank, tank, running))]
