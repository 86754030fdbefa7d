"""An import killed in the middle (kill -9), by itself and in the service: gone on with, every row is there once."""

from __future__ import annotations

import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import httpx
import pytest

from api.service import DATABASE
from tests.bench.rooms import free_port
from tests.support.import_files import ANSWERS, written
from tests.support.processes import Processes
from tests.support.rooms import ROOM

ROWS = 60_000
WITHIN_S = 90.0
COUNT = "SELECT count(*) FROM reading JOIN channel ON channel.id = channel WHERE probe = 'logger-1' AND derived = 0"
TIMES = (
    "SELECT count(DISTINCT time_ms) FROM reading JOIN channel ON channel.id = channel"
    " WHERE probe = 'logger-1' AND derived = 0"
)
SUMMED = (
    "SELECT sum(count + flagged) FROM summary JOIN channel ON channel.id = channel"
    " WHERE probe = 'logger-1' AND derived = 0 AND step_s = 3600"
)
OPTIONS = [part for key, value in ANSWERS.items() if key != "zone" for part in ("--answer", f"{key}={value}")]


def until(what: Callable[[], Any], words: str) -> Any:
    """Wait for something to be so."""
    end_s = time.monotonic() + WITHIN_S
    while time.monotonic() < end_s:
        if found := what():
            return found
        time.sleep(0.02)
    raise AssertionError(f"not within {WITHIN_S:.0f} s: {words}")


def asked(data: Path, sql: str, *given: str) -> int:
    """One number from the database; 0 while there is none."""
    path = data / DATABASE
    if not path.exists():
        return 0
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True, timeout=10)) as database:
        try:
            row = database.execute(sql, given).fetchone()
        except sqlite3.OperationalError:
            return 0
    return int(row[0] or 0) if row is not None else 0


def rows_read(data: Path) -> int:
    """How far the newest import is."""
    return asked(data, "SELECT json_extract(body, '$.next_row') FROM import_job ORDER BY id DESC LIMIT 1")


def whole(data: Path) -> None:
    """Every reading is there once, and so it is counted."""
    assert asked(data, COUNT) == 2 * ROWS
    assert asked(data, TIMES) == ROWS
    assert asked(data, SUMMED) == 2 * ROWS
    newest = "SELECT json_extract(body, ?) FROM import_job ORDER BY id DESC LIMIT 1"
    assert [asked(data, newest, f"$.counts.{name}") for name in ("rows", "accepted")] == [ROWS, 2 * ROWS]


@pytest.fixture
def place(tmp_path: Path) -> list[str]:
    """A room, and where its things are kept."""
    (tmp_path / "room.toml").write_text(ROOM.replace("[[tank]]", "[room.service]\nport = 1\n[[tank]]", 1))
    written(tmp_path / "logger.csv", ROWS)
    return ["--room", str(tmp_path / "room.toml"), "--data", str(tmp_path / "data")]


def test_the_command_killed(tmp_path: Path, place: list[str]) -> None:
    """The same command again goes on; once more, it changes nothing."""
    data = tmp_path / "data"
    command = [sys.executable, "-m", "api.cli", "import", str(tmp_path / "logger.csv"), *place, *OPTIONS]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        until(lambda: rows_read(data), "a block is read")
        process.send_signal(signal.SIGKILL)
    assert 0 < rows_read(data) < ROWS
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "goes on after" in done.stdout
    whole(data)
    again = subprocess.run(command, capture_output=True, text=True, check=True)
    assert "120 000 readings there already" in again.stdout


def test_the_service_killed(tmp_path: Path, place: list[str]) -> None:
    """It goes on by itself when it runs again; readings that came live meanwhile are not touched."""
    data, port = tmp_path / "data", free_port()
    room = tmp_path / "room.toml"
    room.write_text(room.read_text(encoding="utf-8").replace("port = 1\n", f"port = {port}\n"), encoding="utf-8")
    with Processes(room, data, port) as processes:
        processes.start("service")
        with (
            httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=30) as web,
            open(tmp_path / "logger.csv", "rb") as file,
        ):
            fields = {f"answer:{key}": value for key, value in ANSWERS.items() if key != "zone"} | {"start": "yes"}
            made = web.post("/api/v1/imports", files={"file": ("logger.csv", file)}, data=fields)
        assert made.status_code == 201, made.text
        until(lambda: rows_read(data), "a block is read")
        processes.kill("service")
        assert 0 < rows_read(data) < ROWS
        processes.start("service")
        done = "SELECT count(*) FROM import_job WHERE state = 'done'"
        until(lambda: asked(data, done), "the import is done")
        whole(data)
        assert not [one for one in (data / "imports").rglob("logger.csv") if one.is_file()]
