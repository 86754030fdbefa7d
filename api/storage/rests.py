"""Alerts at rest in SQLite. Must not do: decide when a rest ends (``api/judge/resting.py``)."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from dataclasses import fields
from typing import Any

from api.domain.alert import AlertState, Priority
from api.domain.rest import Rest, Scope

NAMES = tuple(field.name for field in fields(Rest))


class SqliteRests:
    """A ``RestStore`` on SQLite."""

    def __init__(self, connection: sqlite3.Connection, reader: Callable[[], sqlite3.Connection]) -> None:
        self._connection, self._reader = connection, reader

    def open(self, rest: Rest) -> int:
        """Keep a new rest and return its id."""
        names = NAMES[1:]
        sql = f"INSERT INTO rest ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})"  # noqa: S608 - our own columns
        return int(self._connection.execute(sql, [getattr(rest, name) for name in names]).lastrowid or 0)

    def end(self, rest: int, now_ms: int, person: str, outcome: str) -> None:
        """A rest has ended."""
        sql = "UPDATE rest SET ended_ms = ?, ended_by = ?, outcome = ? WHERE id = ? AND ended_ms IS NULL"
        self._connection.execute(sql, (now_ms, person, outcome, rest))

    def note(self, rest: int, outcome: str) -> None:
        """What was found at a rest's end."""
        self._connection.execute("UPDATE rest SET outcome = ? WHERE id = ?", (outcome, rest))

    def rests(self, *, running: bool, most: int = 200) -> list[Rest]:
        """Newest first."""
        sql = f"SELECT {', '.join(NAMES)} FROM rest WHERE ended_ms IS NULL OR NOT ? ORDER BY id DESC LIMIT ?"  # noqa: S608 - our own columns
        return [_rest(row) for row in self._reader().execute(sql, (running, most))]

    def activations(self, subject: str, from_ms: int) -> int:
        """How often a subject's alert was raised since a time."""
        sql = """
            SELECT count(*) FROM alert_event JOIN alert ON alert.id = alert_event.alert
            WHERE alert.subject = ? AND alert_event.event = 'raised' AND alert_event.time_ms >= ?
            """
        return int(self._reader().execute(sql, (subject, from_ms)).fetchone()[0])


def _rest(row: tuple[Any, ...]) -> Rest:
    known = dict(zip(NAMES, row, strict=True))
    known |= {"state": AlertState(known["state"]), "scope": Scope(known["scope"])}
    return Rest(**known | {"priority": Priority(known["priority"])})
