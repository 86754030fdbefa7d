"""From a probe's line to the service on a computer that woke up in 1970: held, shown, dated, sent once."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from collector.config import load_config
from collector.console import Console
from collector.held import Held, believe
from collector.runner import Runner
from collector.spool import NAME, Spool
from tests.collector.conftest import Until
from tests.support.http_receiver import Receiver
from tests.support.made_up_computer import Computer
from tests.support.serial_line import SerialLine

ROOM = """
[room]
name = "east"
zone = "UTC"
[[probe]]
id = "p1"
driver = "serial_lines"
port = "{port}"
every_s = 1
[[probe.value]]
quantity = "temperature"
unit = "Cel"
"""


def test_readings_before_the_clock_is_set_reach_the_service_with_their_true_times(
    tmp_path: Path, data: Path, receiver: Receiver, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is sent before, the report says why; a restart in between loses nothing."""
    computer, said = Computer(), list[str]()
    true_ms = computer.true_ms
    computer.error_ms = 1_000 - true_ms
    monkeypatch.setattr("collector.runner.hands", computer.hands)
    monkeypatch.setattr("collector.reporter.EVERY_S", 0.2)
    monkeypatch.setattr("collector.dating.LOOK_S", 0.05)
    with SerialLine(tmp_path / "p1") as line:
        (tmp_path / "room.toml").write_text(ROOM.format(port=line.link))
        config = load_config(tmp_path / "room.toml", data, receiver.url)

        def kept() -> int:
            with sqlite3.connect(data / NAME) as db:
                count: int = db.execute("SELECT count(*) FROM held").fetchone()[0]
            db.close()
            return count

        for number in range(2):
            runner = Runner(config, console=Console(lambda: 0.0, said.append))
            runner.start()
            computer.wait(60_000)
            line.say(f"24.{number}\n")
            until(lambda number=number: kept() == number + 1)  # type: ignore[misc]
            runner.stop()
        runner = Runner(config, console=Console(lambda: 0.0, said.append))
        runner.start()
        words = "is not set, it says 1970-01-01 00:02 UTC"
        until(lambda: receiver.statuses and words in str(receiver.statuses[-1][1]["spool"]["trouble"]))
        assert receiver.statuses[-1][1]["ports"][0]["last_reading_ms"] is None
        assert receiver.records == {}
        computer.time_server()
        until(lambda: len(receiver.records) == 2)
        until(lambda: receiver.statuses[-1][1]["spool"]["trouble"] is None)
        runner.stop()
    first, second = sorted(receiver.records.values(), key=lambda record: float(record["t"]))
    assert (first["v"], second["v"]) == (24.0, 24.1)
    assert 0 <= first["t"] * 1000 - (true_ms + 60_000) < 20
    assert 0 <= second["t"] * 1000 - (true_ms + 120_000) < 20
    assert receiver.duplicates == 0
    assert sum("clock is not set" in text for text in said) == 3
    assert "clock: the computer's clock is believed again" in said


def test_what_has_no_time_is_listed_and_a_clock_can_be_vouched_for(tmp_path: Path, data: Path) -> None:
    """Two commands for the keeper: the list, and: the clock is right as it is."""
    room = tmp_path / "room.toml"
    room.write_text(ROOM.format(port="/dev/null"))
    command = [sys.executable, "-m", "collector", "--room", str(room), "--data", str(data)]

    def run(word: str) -> str:
        return subprocess.run([*command, word], capture_output=True, text=True, check=True, timeout=30).stdout

    assert run("--held") == ""
    nothing = subprocess.run([*command, "--held"], capture_output=True, text=True, check=True, timeout=30)
    assert nothing.stderr == f"no reading in {data} waits for its time\n"
    spool = Spool(data / NAME, gather_s=0.0)
    there = Computer(1_000)
    held = Held(spool, there.hands())
    stamp = held.stamper("p1").stamp(0)
    held.keep([RawReading("p1", Quantity.TEMPERATURE, stamp, 24.5, "Cel")], [])
    spool.close()
    assert run("--held") == f"boot-1,{stamp / 1000},p1,temperature,24.5,Cel\n"
    assert run("--believe-clock").startswith("this computer's clock is taken to be right: 20")


def test_a_vouched_clock_is_believed_though_it_is_behind(tmp_path: Path) -> None:
    """Readings were stamped ahead of time, then the power went; without the word nothing would be dated."""
    computer = Computer()
    spool = Spool(tmp_path / NAME, gather_s=0.0)
    held = Held(spool, computer.hands())
    held.settle()
    ahead = held.stamper("p1").stamp(0)
    held.clock.used(ahead)
    spool.ask(lambda stock: stock.commit([], [("stamp 0 p1", str(ahead))]))
    computer.power_cut(60_000, wakes_at_ms=ahead - 7_200_000)
    held = Held(spool, computer.hands())
    held.settle()
    assert "--believe-clock" in held.clock.doubt()
    believe(spool, computer.hands())
    held = Held(spool, computer.hands())
    held.settle()
    assert held.clock.doubt() == ""
    assert 0 <= held.stamper("p1").stamp(held.clock.now_ms()) - computer.wall_ms < 20
    spool.close()
