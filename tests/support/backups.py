"""A room to back up, and its backups. Must not do: test."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.cli import main
from tests.support.rooms import TestRoom, room

SLOW = """
import sys
from api.storage import backup
backup.STEP_PAGES, backup.PAUSE_S = 2, 0.2
from api.cli import main
sys.exit(main(sys.argv[1:]))
"""


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """A service with an hour of readings."""
    with room(tmp_path) as one:
        for _ in range(60):
            one.minute(8.0)
        one.service.records.secret("session")
        yield one


def place(folder: Path, data: str = "data") -> list[str]:
    """Where a command works."""
    return ["--room", str(folder / "room.toml"), "--data", str(folder / data)]


def back_up(lab: TestRoom, *words: str) -> int:
    """Into the folder ``copies``."""
    return main(["backup", "--to", str(lab.folder / "copies"), *words, *place(lab.folder)])


def copies(folder: Path) -> list[Path]:
    """What stands in the folder of backups, hidden files apart."""
    return sorted(path for path in (folder / "copies").iterdir() if not path.name.startswith("."))


def next_second(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every backup a second after the one before."""
    moments = iter(range(1_790_000_000_000, 1_790_001_000_000, 1000))
    monkeypatch.setattr("api.backup_command.now_ms", lambda: next(moments))


def count(path: Path, table: str = "reading") -> int:
    """Rows of a table, as SQLite itself counts them."""
    connection = sqlite3.connect(path)
    try:
        return int(connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0])  # noqa: S608 - our own name
    finally:
        connection.close()
