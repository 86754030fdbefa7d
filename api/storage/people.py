"""Changes of people in SQLite. Must not do: decide who is told."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

from api.domain.people import Person
from api.domain.people_change import PeopleChange, PeopleStep


class SqlitePeople:
    """A ``PeopleStore`` on SQLite."""

    def __init__(self, connection: sqlite3.Connection, reader: Callable[[], sqlite3.Connection]) -> None:
        self._connection, self._reader = connection, reader

    def change(self, change: PeopleChange) -> int:
        """Keep a change."""
        person = asdict(change.person) if change.person is not None else None
        body = json.dumps({"person": person, "order": change.order})
        row = (change.name, change.step, body, change.by, change.from_ms)
        sql = "INSERT INTO people_change (name, step, body, by, from_ms) VALUES (?, ?, ?, ?, ?)"
        return int(self._connection.execute(sql, row).lastrowid or 0)

    def changes(self) -> list[PeopleChange]:
        """All of them, oldest first."""
        rows = self._reader().execute("SELECT id, name, step, body, by, from_ms FROM people_change ORDER BY id")
        out = []
        for number, name, step, text, by, from_ms in rows:
            body = json.loads(text)
            person = _person(body["person"]) if body["person"] is not None else None
            out.append(PeopleChange(number, name, PeopleStep(step), person, tuple(body["order"]), by, from_ms))
        return out


def _person(body: dict[str, Any]) -> Person:
    return Person(**{**body, "channels": tuple(body["channels"]), "weekdays": tuple(body["weekdays"])})
