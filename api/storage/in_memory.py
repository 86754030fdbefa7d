"""The store for a rehearsal: the same tables and statements in memory, one thread, nothing on disk.

Must not do: open a file.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from concurrent.futures import Future
from typing import TypeVar

from api.storage.migrations import migrate
from api.storage.tables import Tables

T = TypeVar("T")


class InMemoryStore(Tables):
    """A ``Store`` that is gone when it is closed. ``write`` works at once, in the caller's own thread."""

    def __init__(self) -> None:
        self.connection = sqlite3.connect(":memory:", isolation_level=None, cached_statements=512)
        self.connection.execute("PRAGMA synchronous = OFF")
        migrate(self.connection)
        super().__init__(self.connection, lambda: self.connection)

    def write(self, work: Callable[[], T], settle: Callable[[bool], None] | None = None) -> Future[T]:
        """Run work in a transaction; see ``Store``."""
        done: Future[T] = Future()
        self.connection.execute("BEGIN")
        try:
            result = work()
        except BaseException as error:
            self.connection.execute("ROLLBACK")
            if settle is not None:
                settle(False)
            if not isinstance(error, Exception):
                raise
            done.set_exception(error)
            return done
        self.connection.execute("COMMIT")
        if settle is not None:
            settle(True)
        done.set_result(result)
        return done

    def last_step(self) -> tuple[int, str]:
        """The alert whose life went on last, and the words of that step; (0, "") before the first."""
        sql = "SELECT alert, text FROM alert_event ORDER BY id DESC LIMIT 1"
        found: tuple[int, str] = self.connection.execute(sql).fetchone() or (0, "")
        return found

    def close(self) -> None:
        """Let go of it."""
        self.connection.close()
