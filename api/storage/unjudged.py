"""Recorded readings that are kept and not judged yet, in SQLite. Must not do: read the readings themselves."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable

import numpy as np

from api.domain.quantity import Quantity
from api.science.arrays import Ints
from api.storage.unjudged_base import Unjudged

SPANS = "SELECT first_ms, last_ms FROM unjudged_span WHERE import = ? AND probe = ? AND quantity = ? ORDER BY first_ms"
OF = "SELECT probe, quantity, last_ms, newest_ms, changes_ms, at_end FROM unjudged WHERE import = ?"
ONE = "import = ? AND probe = ? AND quantity = ?"
NUMBERED = "import = ?1 AND probe = ?2 AND quantity = ?3"


class SqliteUnjudged:
    """An ``UnjudgedStore`` on SQLite."""

    def __init__(self, connection: sqlite3.Connection, reader: Callable[[], sqlite3.Connection]) -> None:
        self._connection, self._reader = connection, reader

    def of(self, job: int) -> dict[tuple[str, Quantity], Unjudged]:
        """All of one import."""
        out = {}
        for probe, quantity, last_ms, newest_ms, changes_ms, at_end in self._reader().execute(OF, (job,)).fetchall():
            spans = self._reader().execute(SPANS, (job, probe, quantity)).fetchall()
            spans_ms = np.array(spans, np.int64).reshape(-1, 2)
            out[probe, Quantity(quantity)] = Unjudged(spans_ms, last_ms, newest_ms, changes_ms, bool(at_end))
        return out

    def holds(self, probe: str, quantity: Quantity) -> bool:
        """Whether an import has a channel in hand."""
        sql = "SELECT 1 FROM unjudged WHERE probe = ? AND quantity = ? LIMIT 1"
        return self._reader().execute(sql, (probe, quantity)).fetchone() is not None

    def put(self, job: int, probe: str, quantity: Quantity, one: Unjudged, fresh_ms: Ints | None = None) -> None:
        """Put a channel anew."""
        key = (job, probe, quantity)
        state = (one.last_ms, one.newest_ms, one.changes_ms, int(one.at_end))
        self._connection.execute("INSERT OR REPLACE INTO unjudged VALUES (?, ?, ?, ?, ?, ?, ?)", (*key, *state))
        if fresh_ms is None:
            self._connection.execute(f"DELETE FROM unjudged_span WHERE {ONE}", key)  # noqa: S608 - a literal above
        spans = (one.spans_ms if fresh_ms is None else fresh_ms).tolist()
        # of two that begin at one time the longer one holds both
        self._connection.executemany(
            "INSERT INTO unjudged_span VALUES (?, ?, ?, ?, ?)"
            " ON CONFLICT DO UPDATE SET last_ms = max(last_ms, excluded.last_ms)",
            [(*key, *span) for span in spans],
        )

    def judged(self, job: int, probe: str, quantity: Quantity, up_to_ms: int) -> None:
        """Drop what is over."""
        key = (job, probe, quantity, up_to_ms)
        self._connection.execute(f"DELETE FROM unjudged_span WHERE {ONE} AND last_ms < ?", key)  # noqa: S608
        sql = f"UPDATE unjudged_span SET first_ms = ?4 WHERE {NUMBERED} AND first_ms < ?4"  # noqa: S608
        self._connection.execute(sql, key)

    def drop(self, job: int) -> None:
        """All of an import is judged."""
        for table in ("unjudged", "unjudged_span"):
            self._connection.execute(f"DELETE FROM {table} WHERE import = ?", (job,))  # noqa: S608 - literals above
