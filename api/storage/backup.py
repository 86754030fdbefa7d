"""Copies of the embedded database made while others write it, and the proof that a copy is whole.

Must not do: copy the file as it lies, hold up a writer, or change a reading.
"""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from api.storage.base import StoreUnavailable
from api.storage.migrations import STEPS
from api.storage.sqlite import connect

STEP_PAGES = 1024
PAUSE_S = 0.005
"""Rest between two steps, so that the disk also serves those who write. [s]"""
FAULTS_TOLD = 5


@dataclass(frozen=True, slots=True)
class Contents:
    """What a database holds: its schema's steps and how many readings and alerts."""

    schema: tuple[str, ...]
    readings: int
    alerts: int


def copy_database(source: Path, target: Path, sleep: Callable[[float], None] = time.sleep) -> Contents:
    """Copy a database as it stands at this moment; writers go on meanwhile.

    One read transaction holds the moment: without it every commit of a writer would start the copy again.
    Raises StoreUnavailable when the source cannot be read or the target cannot be written; the target is then no copy.
    """
    try:
        reader = connect(source, read_only=True)
        try:
            reader.execute("BEGIN")
            contents = _contents(reader)
            _copy(reader, target, sleep)
        finally:
            reader.close()
        _flush(target)
    except (sqlite3.Error, OSError) as error:
        raise StoreUnavailable(f"{source} could not be copied to {target}: {error}") from error
    return contents


def _copy(reader: sqlite3.Connection, target: Path, sleep: Callable[[float], None]) -> None:
    os.close(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    copy = sqlite3.connect(target, isolation_level=None)
    try:
        copy.execute("PRAGMA synchronous = OFF")  # flushed once at the end
        reader.backup(copy, pages=STEP_PAGES, progress=lambda _status, left, _total: sleep(PAUSE_S) if left else None)
        # Out of WAL, so that the copy is one file that can be read from a folder nobody may write.
        copy.execute("PRAGMA journal_mode = DELETE")
    finally:
        copy.close()


def _flush(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def examine(path: Path) -> tuple[Contents | None, list[str]]:
    """Open a copy, read every page of it, and tell what it holds and what is wrong with it (nothing: it is whole)."""
    try:
        copy = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True, isolation_level=None)
        try:
            said = [str(row[0]) for row in copy.execute(f"PRAGMA integrity_check({FAULTS_TOLD})")]
            if said != ["ok"]:
                return None, said
            return _contents(copy), []
        finally:
            copy.close()
    except sqlite3.Error as error:
        return None, [str(error)]


def _contents(connection: sqlite3.Connection) -> Contents:
    steps = tuple(str(name) for (name,) in connection.execute("SELECT name FROM migration ORDER BY name"))
    (readings,) = connection.execute("SELECT count(*) FROM reading").fetchone()
    (alerts,) = connection.execute("SELECT count(*) FROM alert").fetchone()
    return Contents(steps, int(readings), int(alerts))


def unknown_steps(schema: tuple[str, ...]) -> list[str]:
    """Steps of a schema that this version has never heard of: the copy is from a newer one."""
    known = {name for name, _ in STEPS}
    return [name for name in schema if name not in known]


def fold(path: Path) -> None:
    """Bring what waits in the write-ahead log of a database nobody uses into its file, as far as that can be done."""
    try:
        connection = connect(path)
        try:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        finally:
            connection.close()
    except sqlite3.Error:
        return  # a damaged one is put aside as it lies, its log beside it
