"""A full disk: both processes go on and say so, nothing acknowledged is lost, and with space everything flows on."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from api.service import Service
from collector.spool import Spool
from collector.stock import HELD_LIMIT
from tests.bench.rooms import free_port
from tests.collector.conftest import readings
from tests.support.processes import Processes
from tests.support.rooms import NOW_MS, ROOM, Recording
from tests.support.serial_line import SerialLine
from tests.support.small_disk import SmallDisk, may_mount
from tests.test_crash import BEGIN_S, PROBE, NumberedProbe

pytestmark = pytest.mark.skipif(not may_mount(), reason="a small disk can be mounted by root only")
FULL_S = 2.0
STRANGER = json.dumps([{"n": "p9/level", "u": "cm", "v": 1.0, "t": BEGIN_S}]).encode()


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[SmallDisk]:
    """Twelve megabytes."""
    with SmallDisk(tmp_path / "data", 12) as one:
        yield one


def wait(true: Callable[[], object], within_s: float = 30.0) -> None:
    """Until something is true."""
    end_s = time.monotonic() + within_s
    while not true():
        assert time.monotonic() < end_s, f"waited {within_s:g} s in vain"
        time.sleep(0.1)


def asked(port: int, path: str, token: str = "", body: bytes | None = None) -> tuple[int, dict[str, Any]]:
    """Status and JSON of an answer, whatever the status."""
    headers = {"Content-Type": "application/senml+json", "Authorization": f"Bearer {token}"} if token else {}
    request = urllib.request.Request(f"http://127.0.0.1:{port}{path}", body, headers)
    try:
        with urllib.request.urlopen(request, timeout=15) as answer:  # noqa: S310 - our own loopback address
            return answer.status, json.loads(answer.read())
    except urllib.error.HTTPError as error:
        with error:
            return error.code, json.loads(error.read())


def kept(database: Path) -> dict[str, list[float]]:
    """What each probe's numbers are in the service's database."""
    connection = sqlite3.connect(database)
    try:
        rows = connection.execute("SELECT probe, raw FROM reading JOIN channel ON id = channel ORDER BY 1, 2")
        found: dict[str, list[float]] = {}
        for probe, value in rows:
            found.setdefault(probe, []).append(value)
        return found
    finally:
        connection.close()


class Forgetful(threading.Thread):
    """A probe without a memory: says 1, 2, 3 ..., each once, twenty a second, whether anybody listens or not."""

    def __init__(self, line: SerialLine, stop: threading.Event) -> None:
        super().__init__(daemon=True)
        self._line, self._stop_asked = line, stop
        self.said = 0

    def run(self) -> None:
        """Speak until told to stop."""
        while not self._stop_asked.wait(0.05):
            self.said += 1
            self._line.say(f"{BEGIN_S + self.said},{self.said}\n")


def test_both_processes_outlive_a_full_disk(tmp_path: Path, disk: SmallDisk) -> None:
    """Service and collector on one disk that fills up under them and is emptied: every number is kept once."""
    port, stop = free_port(), threading.Event()
    lines = [SerialLine(tmp_path / f"line-{number}") for number in range(3)]
    (tmp_path / "room.toml").write_text(_room(port, lines), encoding="utf-8")
    database = disk.folder / "intermolt.db"
    careful = [NumberedProbe(line, stop) for line in lines[:2]]
    forgetful = Forgetful(lines[2], stop)
    with Processes(tmp_path / "room.toml", disk.folder, port) as processes:
        processes.start("service")
        processes.start("collector")
        for probe in (*careful, forgetful):
            probe.start()
        wait(lambda: len(kept(database).get("p2", ())) > 10)
        disk.fill()
        wait(lambda: asked(port, "/api/v1/health")[0] == 503)
        before = [probe.acknowledged for probe in careful]
        assert " (0.0 MB free on the disk of " in str(asked(port, "/api/v1/health")[1]["parts"])
        token = (disk.folder / "collector.token").read_text(encoding="ascii").strip()
        status, answer = asked(port, "/api/v1/readings", token, STRANGER)
        assert (status, answer["title"]) == (503, "Not kept")
        time.sleep(FULL_S)
        assert [probe.acknowledged for probe in careful] < [count + 3 for count in before]
        assert all(process.poll() is None for process in processes.running.values())
        disk.empty()
        wait(lambda: asked(port, "/api/v1/health")[0] == 200)
        wait(lambda: all(probe.acknowledged > count + 3 for probe, count in zip(careful, before, strict=True)))
        stop.set()
        for probe in (*careful, forgetful):
            probe.join()
        said = {"p0": careful[0].acknowledged, "p1": careful[1].acknowledged, "p2": forgetful.said}
        wait(lambda: all(len(kept(database)[name]) >= count for name, count in said.items()))
    for line in lines:
        line.unplug()
    found = kept(database)
    log = (tmp_path / "processes.log").read_text(encoding="utf-8")
    print(f"said {said}, kept { {name: len(values) for name, values in found.items()} }\n{log}")
    assert {name: found[name] for name in said} == {name: list(map(float, range(1, n + 1))) for name, n in said.items()}
    assert "spool: the disk takes nothing (" in log
    assert "spool: the disk takes readings again" in log
    assert len(log.splitlines()) < 60


def _room(port: int, lines: list[SerialLine]) -> str:
    """Probes that repeat what is not acknowledged, and as the last one that never does."""
    text = f'[room]\nname = "Full room"\nzone = "UTC"\n[room.service]\nport = {port}\n'
    text += "".join(PROBE.format(number=number, line=line.link) for number, line in enumerate(lines))
    before, _, after = text.rpartition('acknowledge = "OK\\n"\n')
    return before + after


def test_trying_to_write_does_not_take_the_processor(disk: SmallDisk) -> None:
    """With memory full of readings and a disk full of something else, most of the time nothing is tried."""
    spool = Spool(disk.folder / "spool.db", gather_s=0.0)
    disk.fill()
    for first in range(0, HELD_LIMIT, 500):
        spool.keep(readings(500, first))
    began_s, before_s = time.monotonic(), time.process_time()
    while time.monotonic() - began_s < 2.0:
        spool.keep(readings(1, HELD_LIMIT))
        time.sleep(0.02)
    share = (time.process_time() - before_s) / (time.monotonic() - began_s)
    disk.empty()
    spool.close()
    print(f"{share:.0%} of a core with {HELD_LIMIT} readings in memory")
    assert share < 0.4


def test_a_service_that_cannot_start_says_what_to_do(tmp_path: Path, disk: SmallDisk) -> None:
    """One line that names folder and space, no traceback, whether there is a database already or not."""
    (tmp_path / "room.toml").write_text(ROOM, encoding="utf-8")
    command = [sys.executable, "-m", "api.cli", "serve", "--port", str(free_port())]
    command += ["--room", str(tmp_path / "room.toml"), "--data", str(disk.folder)]
    for _ in range(2):
        disk.fill()
        done = subprocess.run(command, capture_output=True, text=True, timeout=30, check=False)
        said = f"intermolt: the disk of {disk.folder} is full (0.0 MB free): make room there, then try again\n"
        assert done.stderr == said
        assert done.returncode == 2
        disk.empty()
        service = Service(tmp_path / "room.toml", disk.folder, Recording(), lambda: NOW_MS)
        service.store.close()
        service.release()
