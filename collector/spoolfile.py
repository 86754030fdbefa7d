"""The spool's file: one SQLite database, its tables and the statements on them.

Used by one thread at a time. Must not do: decide what to do about a full disk (``spool.py`` does).
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterable, Sequence
from pathlib import Path

from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from collector.errors import SpoolDamaged

Row = tuple[int, RawReading]
Refusal = tuple[Row, str]

REFUSED_LIMIT = 10_000
SALVAGE_LIMIT = 200_000
VERSION = 1
TABLES = """
CREATE TABLE reading (
    id INTEGER PRIMARY KEY, probe TEXT NOT NULL, quantity TEXT NOT NULL,
    time_ms INTEGER NOT NULL, value REAL NOT NULL, unit TEXT NOT NULL);
CREATE TABLE refused (
    id INTEGER PRIMARY KEY, probe TEXT NOT NULL, quantity TEXT NOT NULL, time_ms INTEGER NOT NULL,
    value REAL NOT NULL, unit TEXT NOT NULL, reason TEXT NOT NULL, refused_ms INTEGER NOT NULL);
CREATE TABLE bookmark (source TEXT PRIMARY KEY, position TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE counter (name TEXT PRIMARY KEY, n INTEGER NOT NULL) WITHOUT ROWID;
"""
COLUMNS = "probe, quantity, time_ms, value, unit"
DAMAGE = ("malformed", "not a database", "corrupt", "no such table", "no such column")
CHECKED_IN_FULL_BYTES = 64 << 20


class SpoolFile:
    """An open spool file; every commit is on the disk when it returns."""

    def __init__(self, path: Path) -> None:
        """Open or make the file.

        Raises SpoolDamaged when it is no usable spool, sqlite3.Error when the disk will not have it.
        """
        self.path = path
        self.db = sqlite3.connect(path, timeout=5.0, isolation_level=None, check_same_thread=False)
        try:
            self._prepare()
        except (sqlite3.Error, SpoolDamaged) as error:
            self.db.close()
            if isinstance(error, sqlite3.Error) and is_damage(error):
                raise SpoolDamaged(str(path), str(error)) from error
            raise

    def _prepare(self) -> None:
        db = self.db
        db.execute("PRAGMA auto_vacuum=INCREMENTAL")
        db.execute("PRAGMA journal_mode=WAL")
        db.execute("PRAGMA synchronous=FULL")
        db.execute("PRAGMA cache_size=-1000")
        db.execute("PRAGMA journal_size_limit=4000000")
        version = self._one("PRAGMA user_version")
        if version == 0 and not self._one("SELECT count(*) FROM sqlite_master"):
            db.executescript(f"BEGIN IMMEDIATE; {TABLES} PRAGMA user_version={VERSION}; COMMIT")
        elif version != VERSION:
            raise SpoolDamaged(str(self.path), f"it is of version {version}, this collector writes {VERSION}")
        if self.path.stat().st_size <= CHECKED_IN_FULL_BYTES:
            found = db.execute("PRAGMA quick_check(1)").fetchone()[0]
            if found != "ok":
                raise SpoolDamaged(str(self.path), str(found).splitlines()[-1])
        self.waiting()

    def _one(self, sql: str, *values: object) -> int:
        row = self.db.execute(sql, values).fetchone()
        return int(row[0]) if row and row[0] is not None else 0

    def waiting(self) -> int:
        """How many readings the file holds."""
        return self._one("SELECT count(*) FROM reading")

    def last_id(self) -> int:
        """The highest number given to a reading so far."""
        return max(self._one("SELECT max(id) FROM reading"), self._one("SELECT max(id) FROM refused"))

    def used_bytes(self) -> int:
        """Bytes of the file that hold something."""
        pages = self._one("PRAGMA page_count") - self._one("PRAGMA freelist_count")
        return pages * self._one("PRAGMA page_size")

    def oldest(self, after: int, count: int) -> list[Row]:
        """Up to ``count`` readings with numbers above ``after``, oldest first."""
        sql = f"SELECT id, {COLUMNS} FROM reading WHERE id > ? ORDER BY id LIMIT ?"  # noqa: S608 our own words only
        return [_row(found) for found in self.db.execute(sql, (after, count)).fetchall()]

    def newest(self, first: int, since_ms: int, count: int) -> list[Row]:
        """Of the newest ``count`` readings with numbers from ``first``, those of times from ``since_ms``, in order."""
        some = f"SELECT id, {COLUMNS} FROM reading WHERE id >= ? ORDER BY id DESC LIMIT ?"  # noqa: S608 our own words
        sql = f"SELECT * FROM ({some}) WHERE time_ms >= ? ORDER BY id"  # noqa: S608 our own words only
        return [_row(found) for found in self.db.execute(sql, (first, count, since_ms)).fetchall()]

    def add(self, rows: Iterable[Row]) -> None:
        """Put readings in, within the caller's transaction."""
        sql = f"INSERT INTO reading(id, {COLUMNS}) VALUES (?, ?, ?, ?, ?, ?)"  # noqa: S608 our own words only
        self.db.executemany(sql, ((n, r.probe, str(r.quantity), r.time_ms, r.value, r.unit) for n, r in rows))

    def remove(self, first: int, last: int) -> int:
        """Take readings out from one number to another; how many there were."""
        return self.db.execute("DELETE FROM reading WHERE id BETWEEN ? AND ?", (first, last)).rowcount

    def drop_oldest(self, count: int) -> int:
        """Take out the oldest ``count`` readings; how many there were."""
        sql = "DELETE FROM reading WHERE id IN (SELECT id FROM reading ORDER BY id LIMIT ?)"
        return self.db.execute(sql, (count,)).rowcount

    def refuse(self, refusals: Sequence[Refusal], now_ms: int) -> None:
        """Set readings aside with the reason, the newest ``REFUSED_LIMIT`` of them."""
        sql = f"INSERT OR REPLACE INTO refused(id, {COLUMNS}, reason, refused_ms) VALUES (?, ?, ?, ?, ?, ?, ?, ?)"  # noqa: S608 our own words only
        rows = [
            (n, r.probe, str(r.quantity), r.time_ms, r.value, r.unit, why[:500], now_ms) for (n, r), why in refusals
        ]
        self.db.executemany(sql, rows)
        self.count("refused", len(rows))
        self.trim_refused(REFUSED_LIMIT)

    def trim_refused(self, keep: int) -> None:
        """Let all but the newest ``keep`` refused readings go."""
        over = "DELETE FROM refused WHERE id <= (SELECT id FROM refused ORDER BY id DESC LIMIT 1 OFFSET ?)"
        self.db.execute(over, (keep,))

    def count(self, name: str, more: int) -> None:
        """Add to a counter that outlives the process."""
        sql = "INSERT INTO counter(name, n) VALUES (?, ?) ON CONFLICT(name) DO UPDATE SET n = n + excluded.n"
        self.db.execute(sql, (name, more))

    def counter(self, name: str) -> int:
        """A counter's value, 0 when it was never touched."""
        return self._one("SELECT n FROM counter WHERE name = ?", name)

    def set_bookmark(self, source: str, position: str) -> None:
        """Remember how far a source was read, within the caller's transaction."""
        self.db.execute("INSERT OR REPLACE INTO bookmark(source, position) VALUES (?, ?)", (source, position))

    def bookmark(self, source: str) -> str | None:
        """How far a source was read."""
        row = self.db.execute("SELECT position FROM bookmark WHERE source = ?", (source,)).fetchone()
        return None if row is None else str(row[0])

    def give_back(self) -> None:
        """Return some of the space that sent readings took to the disk."""
        if self._one("PRAGMA freelist_count") > 1000:
            # by script: execute() would take a single step, which frees a single page
            self.db.executescript("PRAGMA incremental_vacuum(500)")

    def close(self) -> None:
        """Close the file; never raises for a disk that has gone."""
        try:
            self.db.close()
        except sqlite3.Error:
            pass  # what was committed is on the disk; nothing else can be done here


def _row(found: tuple[int, str, str, int, float, str]) -> Row:
    number, probe, quantity, time_ms, value, unit = found
    return number, RawReading(probe, Quantity(quantity), time_ms, value, unit)


def is_damage(error: sqlite3.Error) -> bool:
    """Whether an error says that the file itself is broken, not that the disk is full or busy."""
    return isinstance(error, sqlite3.DatabaseError) and any(word in str(error) for word in DAMAGE)


def set_aside(path: Path, now_ms: int) -> Path:
    """Give a damaged spool another name, with its side files, so that a person can still look into it."""
    target = path.with_name(f"{path.name}.damaged-{now_ms}")
    for end in ("", "-wal", "-shm"):
        source = Path(f"{path}{end}")
        if source.exists():
            os.replace(source, f"{target}{end}")
    return target


def salvage(path: Path) -> tuple[list[RawReading], list[tuple[str, str]]]:
    """What can still be read of a damaged spool: its readings up to the first broken page, and its bookmarks."""
    readings: list[RawReading] = []
    bookmarks: list[tuple[str, str]] = []
    db = sqlite3.connect(path, timeout=5.0, isolation_level=None)
    try:
        bookmarks.extend(db.execute("SELECT source, position FROM bookmark"))
        for row in db.execute(f"SELECT {COLUMNS} FROM reading ORDER BY id LIMIT {SALVAGE_LIMIT}"):  # noqa: S608
            readings.append(RawReading(row[0], Quantity(row[1]), row[2], row[3], row[4]))
    except (sqlite3.Error, ValueError, TypeError, InputError):
        pass  # as far as it goes: the file itself stays where it is for a person to look into
    finally:
        db.close()
    return readings, bookmarks
