"""The embedded store: one SQLite file in WAL mode, one writer, readers that never wait for it.

Must not do: judge or convert; it keeps what it is given.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path
from typing import TypeVar

from api.storage.migrations import migrate
from api.storage.tables import Tables
from api.storage.writer import Writer

T = TypeVar("T")


def connect(path: Path, *, read_only: bool = False) -> sqlite3.Connection:
    """A connection with the house's settings: WAL, every commit forced to disk, waits rather than fails."""
    connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False, cached_statements=512)
    connection.execute("PRAGMA busy_timeout = 10000")
    if read_only:
        connection.execute("PRAGMA query_only = ON")
    else:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        # The same few pages are written again and again: copying them back rarely saves most of the work.
        connection.execute("PRAGMA wal_autocheckpoint = 8000")
    connection.execute("PRAGMA cache_size = -8000")
    return connection


class SqliteStore(Tables):
    """A ``Store`` in one file."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._connection = connect(path)
        migrate(self._connection)
        self._writer = Writer(self._connection)
        self._local = threading.local()
        self._readers: list[sqlite3.Connection] = []
        self._lock = threading.Lock()
        super().__init__(self._connection, self.reader)

    def reader(self) -> sqlite3.Connection:
        """This thread's own read connection; the writer thread sees its own uncommitted work."""
        if threading.current_thread().name == "store-writer":
            return self._connection
        connection: sqlite3.Connection | None = getattr(self._local, "connection", None)
        if connection is None:
            connection = connect(self.path, read_only=True)
            self._local.connection = connection
            with self._lock:
                self._readers.append(connection)
        return connection

    def write(self, work: Callable[[], T], settle: Callable[[bool], None] | None = None) -> Future[T]:
        """Run work in the writer; see ``Store``."""
        return self._writer.submit(work, settle)

    def close(self) -> None:
        """Finish the waiting work and close."""
        self._writer.close()
        with self._lock:
            for connection in self._readers:
                connection.close()
            self._readers.clear()
        self._connection.close()
