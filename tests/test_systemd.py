"""Units and what the processes tell a service manager: ready, alive while every part goes round, stopping."""

from __future__ import annotations

import os
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from math import inf
from pathlib import Path

import pytest

from api.domain.standing import hanging, watchdog_period_s
from tests.bench.rooms import free_port, wait_for
from tests.support.manager import Manager
from tests.support.serial_line import SerialLine

ROOT = Path(__file__).parents[1]
UNITS = ROOT / "deploy" / "systemd"
BIN = "/opt/intermolt/.venv/bin"
STOPS_WITHIN_S = 5.0
PERIOD_S = 1.0
needs_systemd = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None, reason="systemd-analyze is missing: apt-get install systemd"
)


def analyze(*words: str) -> subprocess.CompletedProcess[str]:
    """Run systemd-analyze."""
    return subprocess.run(["systemd-analyze", *words], capture_output=True, text=True, timeout=60, check=False)


@needs_systemd
def test_the_units_are_sound(tmp_path: Path) -> None:
    """systemd finds nothing to say about them."""
    for unit in UNITS.glob("intermolt*.*"):
        if unit.suffix in (".service", ".target", ".timer"):
            text = unit.read_text(encoding="utf-8").replace(BIN, str(tmp_path))
            (tmp_path / unit.name).write_text(text, encoding="utf-8")
    for name in ("intermolt", "python"):
        (tmp_path / name).symlink_to(sys.executable)
    units = sorted(str(path) for path in tmp_path.glob("intermolt*.*"))
    assert len(units) == 5
    done = analyze("verify", "--man=no", *units)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


@needs_systemd
@pytest.mark.parametrize(
    ("unit", "most"),
    [("intermolt-service.service", 1.5), ("intermolt-collector.service", 2.2), ("intermolt-backup.service", 1.0)],
)
def test_the_units_are_sealed(unit: str, most: float) -> None:
    """systemd's own measure of what a unit could reach, from 0 (nothing) to 10 (everything)."""
    done = analyze("security", "--offline=true", "--no-pager", str(UNITS / unit))
    found = re.search(r"Overall exposure level for \S+: ([0-9.]+)", done.stdout)
    assert found is not None, done.stdout + done.stderr
    assert float(found[1]) <= most


def test_both_units_are_started_again_for_ever_and_each_by_itself() -> None:
    """No start limit, a watchdog, and no unit that takes the other down with it."""
    for name in ("service", "collector"):
        lines = (UNITS / f"intermolt-{name}.service").read_text(encoding="utf-8").splitlines()
        assert {"Type=notify", "Restart=always", "StartLimitIntervalSec=0", "WatchdogSec=60"} <= set(lines)
        assert [line for line in lines if re.match("Requires|BindsTo|Requisite|Conflicts", line)] == []


def test_the_install_script_puts_every_file_where_the_units_look(tmp_path: Path) -> None:
    """Program, room file for our own eyes, units; and without a room file it says what to give."""
    install = [str(UNITS / "install")]
    environment = {**os.environ, "DESTDIR": str(tmp_path)}
    without = subprocess.run(install, env=environment, capture_output=True, text=True, check=False)
    assert (without.returncode, without.stderr) == (
        2,
        "Which room? Give its file: deploy/systemd/install room.toml\n",
    )
    room = ROOT / "deploy" / "room.example.toml"
    subprocess.run([*install, str(room)], env=environment, check=True)
    kept = tmp_path / "etc" / "intermolt" / "room.toml"
    assert kept.read_bytes() == room.read_bytes()
    assert kept.stat().st_mode & 0o777 == 0o640
    for name in ("intermolt.target", "intermolt-service.service", "intermolt-collector.service"):
        unit = tmp_path / "etc" / "systemd" / "system" / name
        assert unit.read_bytes() == (UNITS / name).read_bytes()
    program = tmp_path / "opt" / "intermolt"
    for part in ("api/cli.py", "collector/__main__.py", "dashboard/app.py", "deploy/environment", "pyproject.toml"):
        assert (program / part).is_file()
    assert list(program.rglob("__pycache__")) == []
    subprocess.run(install, env=environment, check=True)
    assert kept.read_bytes() == room.read_bytes()


@pytest.mark.parametrize(
    ("environment", "period_s"),
    [
        ({}, None),
        ({"WATCHDOG_USEC": "60000000"}, 60.0),
        ({"WATCHDOG_USEC": "60000000", "WATCHDOG_PID": "7"}, 60.0),
        ({"WATCHDOG_USEC": "60000000", "WATCHDOG_PID": "8"}, None),
        ({"WATCHDOG_USEC": "0"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
    ],
)
def test_who_is_asked_to_say_that_it_is_alive(environment: dict[str, str], period_s: float | None) -> None:
    """As sd_watchdog_enabled(3) reads the environment of process 7."""
    assert watchdog_period_s(environment, 7) == period_s


def test_a_part_hangs_when_two_periods_overdue() -> None:
    """One that is a little late does not; one that has ended does."""
    assert hanging({"web": 0.0, "store": 120.0, "watch": 121.0, "again": inf}, 60.0) == [
        "watch has hung for 121 s",
        "again has ended",
    ]


@contextmanager
def started(folder: Path, manager: Manager, *words: str) -> Iterator[subprocess.Popen[bytes]]:
    """A process of ours, ended at the end."""
    with (folder / "log").open("wb") as log:
        command = [sys.executable, "-m", *words, "--room", str(folder / "room.toml"), "--data", str(folder / "data")]
        process = subprocess.Popen(command, env=manager.environment, stdout=log, stderr=log)
        try:
            yield process
        finally:
            if process.poll() is None:
                process.kill()
                process.wait()


def ended_in_order(process: subprocess.Popen[bytes], manager: Manager) -> None:
    """A termination signal is answered by STOPPING at once and by the end within five seconds."""
    began_s = time.monotonic()
    process.send_signal(signal.SIGTERM)
    assert "STOPPING=1" in manager.heard(STOPS_WITHIN_S, until="STOPPING=1")
    process.wait(STOPS_WITHIN_S)
    assert time.monotonic() - began_s < STOPS_WITHIN_S
    assert "WATCHDOG=1" not in manager.heard(0.1)


def test_the_service_tells_how_it_stands(tmp_path: Path) -> None:
    """READY once it answers; alive again and again; silent while its store hangs; then alive again; STOPPING."""
    port = free_port()
    text = f'[room]\nname = "east"\nzone = "UTC"\n[room.service]\nport = {port}\n[[tank]]\nid = "t1"\n'
    (tmp_path / "room.toml").write_text(text, encoding="utf-8")
    with Manager(tmp_path, PERIOD_S) as manager, started(tmp_path, manager, "api.cli", "serve") as service:
        assert manager.heard(30, until="READY=1") == ["READY=1"]
        wait_for(port)
        assert manager.heard(10, until="WATCHDOG=1") == ["WATCHDOG=1"]
        assert manager.status == "every part goes round"
        lock = sqlite3.connect(tmp_path / "data" / "intermolt.db", isolation_level=None)
        try:
            lock.execute("BEGIN IMMEDIATE")
            manager.heard(2 * PERIOD_S + 1.0)
            assert manager.heard(3 * PERIOD_S) == []
            # whatever else waits for the store by then is named beside it
            assert re.search(r"\bstore has hung for \d+ s", manager.status)
            lock.execute("ROLLBACK")
        finally:
            lock.close()
        assert manager.heard(15, until="WATCHDOG=1") == ["WATCHDOG=1"]
        ended_in_order(service, manager)


def test_the_collector_tells_how_it_stands(tmp_path: Path) -> None:
    """READY; alive; silent while one of its ports hangs, here in opening a pipe nobody writes to; STOPPING."""
    os.mkfifo(tmp_path / "rows.csv")
    text = '[room]\nname = "east"\nzone = "UTC"\n'
    value = '[[probe.value]]\nquantity = "temperature"\nunit = "Cel"\n'
    text += f'[[probe]]\nid = "p1"\ndriver = "serial_lines"\nport = "{tmp_path / "p1"}"\nevery_s = 1\n{value}'
    text += f'[[probe]]\nid = "p2"\ndriver = "csv_rows"\npath = "rows.csv"\ntime_column = "time"\n{value}key = "c"\n'
    (tmp_path / "room.toml").write_text(text, encoding="utf-8")
    with (
        SerialLine(tmp_path / "p1"),
        Manager(tmp_path, PERIOD_S) as manager,
        started(tmp_path, manager, "collector") as collector,
    ):
        assert manager.heard(30, until="READY=1") == ["READY=1"]
        assert manager.heard(10, until="WATCHDOG=1") == ["WATCHDOG=1"]
        manager.heard(2 * PERIOD_S + 2.0)
        assert manager.heard(3 * PERIOD_S) == []
        assert re.match(r"port p2 has hung for \d+ s$", manager.status)
        os.close(os.open(tmp_path / "rows.csv", os.O_WRONLY | os.O_NONBLOCK))
        assert manager.heard(10, until="WATCHDOG=1") == ["WATCHDOG=1"]
        ended_in_order(collector, manager)


def test_nobody_listening_is_no_trouble(tmp_path: Path) -> None:
    """A socket that is gone: the service serves all the same."""
    port = free_port()
    text = f'[room]\nname = "east"\nzone = "UTC"\n[room.service]\nport = {port}\n'
    (tmp_path / "room.toml").write_text(text, encoding="utf-8")
    with Manager(tmp_path, PERIOD_S) as manager:
        (tmp_path / "manager").unlink()
        with started(tmp_path, manager, "api.cli", "serve") as service:
            wait_for(port)
            service.terminate()
            service.wait(STOPS_WITHIN_S)
    said = (tmp_path / "log").read_text(encoding="utf-8")
    assert said.count("cannot be told how this process stands: ") == 1
