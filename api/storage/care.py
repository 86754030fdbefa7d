"""Care ranges over time in SQLite. Must not do: decide which number is in force."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import fields
from typing import Any

from api.domain.care_change import CareChange
from api.domain.quantity import Quantity
from api.storage.care_base import CareVersion

NAMES = tuple(field.name for field in fields(CareChange))


class SqliteCare:
    """A ``CareStore`` on SQLite."""

    def __init__(self, connection: sqlite3.Connection, reader: Callable[[], sqlite3.Connection]) -> None:
        self._connection, self._reader = connection, reader

    def change(self, change: CareChange) -> int:
        """Keep a change and return its id."""
        names = NAMES[1:]
        sql = f"INSERT INTO care_change ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})"  # noqa: S608 - our own columns
        return int(self._connection.execute(sql, [getattr(change, name) for name in names]).lastrowid or 0)

    def changes(self) -> list[CareChange]:
        """All of them, oldest first."""
        rows = self._reader().execute(f"SELECT {', '.join(NAMES)} FROM care_change ORDER BY id")  # noqa: S608 - our own columns
        known = [dict(zip(NAMES, row, strict=True)) for row in rows]
        return [
            CareChange(**one | {"quantity": Quantity(one["quantity"]), "withdrawn": bool(one["withdrawn"])})
            for one in known
        ]

    def describe(self, name: str, body: Mapping[str, Any], now_ms: int) -> None:
        """A profile reads like this from now on."""
        text = json.dumps(body, sort_keys=True)
        sql = "SELECT body FROM care_version WHERE name = ? ORDER BY id DESC LIMIT 1"
        last = self._connection.execute(sql, (name,)).fetchone()
        if last is None or last[0] != text:
            self._connection.execute(
                "INSERT INTO care_version (name, body, from_ms) VALUES (?, ?, ?)", (name, text, now_ms)
            )

    def versions(self) -> list[CareVersion]:
        """Everything profiles ever read like, oldest first."""
        rows = self._reader().execute("SELECT name, body, from_ms FROM care_version ORDER BY id")
        return [CareVersion(name, json.loads(body), from_ms) for name, body, from_ms in rows]
