"""A disk that is full to the last byte: both processes go on and say so, and once there is space nothing is missing."""

from __future__ import annotations

import json
import sqlite3
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.errors import SpoolTrouble
from collector.held import Held
from collector.spool import NAME, Spool
from tests.bench.rooms import free_port
from tests.collector.conftest import Until, readings
from tests.support.made_up_computer import Computer
from tests.support.processes import Processes
from tests.support.serial_line import SerialLine
from tests.support.small_disk import SmallDisk, may_mount

pytestmark = pytest.mark.skipif(not may_mount(), reason="only root may mount the small disk this is tried on")
BEGIN_S = 1_790_000_000
ROOM = """
[room]
name = "Full room"
zone = "UTC"
[room.service]
port = {port}
[[tank]]
id = "t1"
[[probe]]
id = "p1"
tank = "t1"
driver = "serial_lines"
port = "{line}"
every_s = 1
time_field = 1
time_format = "unix"
[[probe.value]]
quantity = "level"
unit = "cm"
field = 2
"""


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[SmallDisk]:
    """Twenty megabytes for the data folder."""
    with SmallDisk(tmp_path / "data", 20) as mounted:
        yield mounted


def test_the_newest_are_kept_while_memory_lasts_and_the_rest_is_counted(
    disk: SmallDisk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ten on the disk stay there; of 150 that come while it is full the newest 100 are kept, in order."""
    monkeypatch.setattr("collector.stock.HELD_LIMIT", 100)
    spool = Spool(disk.folder / NAME, gather_s=0.0)
    assert spool.keep(readings(10)) is True
    disk.fill()
    for first in range(10, 160, 10):
        assert spool.keep(readings(10, first)) is False
    state = spool.state()
    assert (state.waiting, state.dropped) == (110, 50)
    assert "the disk takes nothing" in str(state.trouble)
    disk.empty()
    assert spool.keep(readings(1, 160)) is True
    assert [reading for _, reading in spool.take(1000).rows] == [*readings(10), *readings(101, 60)]
    assert spool.state().trouble is None
    spool.close()
    spool = Spool(disk.folder / NAME)
    assert (spool.waiting(), spool.state().dropped) == (111, 50)
    spool.close()


def test_a_collector_that_starts_on_a_full_disk_reads_all_the_same(disk: SmallDisk) -> None:
    """There is no room for a spool at all; with the first space it is made, and has everything, dated or not."""
    disk.fill()
    spool = Spool(disk.folder / NAME, gather_s=0.0)
    computer = Computer(1_000)
    held = Held(spool, computer.hands())
    stamper = held.stamper("p1")
    (pattern,) = readings(1)
    undated = [type(pattern)("p1", pattern.quantity, stamper.stamp(0), float(n), "Cel") for n in range(3)]
    assert held.keep(undated, []) is False
    assert spool.keep(readings(5)) is False
    with pytest.raises(SpoolTrouble, match="full"):
        held.settle()
    disk.empty()
    computer.time_server()
    computer.error_ms = 1_800_000_000_000 - computer.true_ms
    held.settle()
    assert spool.keep(readings(1, 5)) is True
    rows = [reading for _, reading in spool.take(100).rows]
    assert [reading for reading in rows if reading in readings(6)] == readings(6)
    assert [reading.value for reading in rows if reading not in readings(6)] == [0.0, 1.0, 2.0]
    spool.close()


def _health(port: int) -> tuple[int, dict[str, str]]:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/api/v1/health", timeout=20) as answer:
            return answer.status, json.load(answer)["parts"]
    except urllib.error.HTTPError as error:
        with error:
            return error.code, json.load(error)["parts"]


def _kept(database: Path) -> list[float]:
    connection = sqlite3.connect(f"{database.as_uri()}?mode=ro", uri=True)
    try:
        return [value for (value,) in connection.execute("SELECT raw FROM reading ORDER BY time_ms")]
    finally:
        connection.close()


def test_both_processes_live_through_a_full_disk_and_every_reading_arrives_once(
    tmp_path: Path, disk: SmallDisk, until: Until
) -> None:
    """A probe without a memory goes on saying numbers all the while; health and log say what is wrong meanwhile."""
    port, stop, said = free_port(), threading.Event(), [0]
    with SerialLine(tmp_path / "line") as line, Processes(tmp_path / "room.toml", disk.folder, port) as processes:
        (tmp_path / "room.toml").write_text(ROOM.format(port=port, line=line.link), encoding="utf-8")

        def speak() -> None:
            while not stop.wait(0.05):
                said[0] += 1
                line.say(f"{BEGIN_S + said[0]},{said[0]}\n")

        speaker = threading.Thread(target=speak)
        processes.start("service")
        processes.start("collector")
        time.sleep(2)
        speaker.start()
        try:
            database = disk.folder / "intermolt.db"
            until(lambda: len(_kept(database)) > 20)
            disk.fill()
            until(lambda: _health(port)[0] == 503)
            assert "full" in _health(port)[1]["store"]
            log = tmp_path / "processes.log"
            until(lambda: "spool: the disk takes nothing" in log.read_text())
            at_fill = said[0]
            time.sleep(3)
            assert said[0] > at_fill + 20
            disk.empty()
            until(lambda: _health(port)[0] == 200)
            until(lambda: "the disk takes readings again" in log.read_text())
        finally:
            stop.set()
            speaker.join()
        end_s = time.monotonic() + 40
        while len(_kept(database)) < said[0] and time.monotonic() < end_s:
            time.sleep(0.5)
        assert [process.poll() for process in processes.running.values()] == [None, None]
        kept = _kept(database)
    print(f"said {said[0]}, of them {said[0] - at_fill} after the disk was full; kept {len(kept)}")
    assert kept == [float(n) for n in range(1, said[0] + 1)]
