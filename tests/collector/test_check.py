"""``collect --check`` as a keeper uses it: real lines, one of each fate, and a table that says what to fix."""

from __future__ import annotations

import fcntl
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from collector import last_word
from collector.__main__ import main
from collector.check import check, table
from collector.clock import now_ms
from collector.config import load_config
from collector.drivers.csv_rows import CsvRows
from collector.lock import DataDirLock, holder
from collector.spool import NAME, Spool
from tests.support.broker import Broker
from tests.support.serial_line import SerialLine

PROBE = """
[[probe]]
id = "{id}"
driver = "serial_lines"
port = "{id}"
every_s = 1
[[probe.value]]
quantity = "temperature"
unit = "Cel"
field = 1
[[probe.value]]
quantity = "oxygen"
unit = "mg/L"
field = 2
"""
FILE = """
[[probe]]
id = "file"
driver = "csv_rows"
path = "level.csv"
every_s = 1
time_column = "time"
[[probe.value]]
quantity = "level"
unit = "cm"
key = "level"
"""
HEAD = '[room]\nname = "R"\nzone = "UTC"\n'
ON_BROKER = """
[room.mqtt]
port = {port}
[[probe]]
id = "p1"
driver = "mqtt_topics"
topic = "t/1"
every_s = 1
[[probe.value]]
quantity = "temperature"
unit = "Cel"
"""
NO_WORD = last_word.PortWord("")
TALK = {"speaks": "24.31,7.82\r\n", "garbled": "###?!\r\n", "half": "24.31,\r\n"}


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Path]:
    """A room file with six probes; those that speak do so all the time."""
    (tmp_path / "level.csv").write_text("time,level\n2026-03-01T08:00:00Z,30.1\n2026-03-01T08:01:00Z,30.2\n")
    names = ("speaks", "garbled", "half", "mute", "missing")
    text = HEAD + "".join(PROBE.format(id=name) for name in names) + FILE
    (tmp_path / "room.toml").write_text(text, encoding="utf-8")
    stop = threading.Event()
    with ExitStack() as stack:
        lines = {name: stack.enter_context(SerialLine(tmp_path / name)) for name in names[:-1]}

        def talk() -> None:
            while not stop.wait(0.3):
                for name, said in TALK.items():
                    lines[name].say(said)

        thread = threading.Thread(target=talk)
        thread.start()
        yield tmp_path / "room.toml"
        stop.set()
        thread.join(5)


def lines_of(said: str) -> dict[str, str]:
    """The table's lines by probe."""
    return {line.split()[0]: line for line in said.splitlines() if line}


def test_each_probe_gets_its_line(room: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Reachable, value, unit, age and what to fix; exit code 1, because not all is well; nothing is kept."""
    assert main(["--room", str(room), "--data", str(room.parent / "data"), "--check"]) == 1
    found = lines_of(capsys.readouterr().out)
    assert found["probe"].split()[:3] == ["probe", "driver", "reachable"]
    assert "yes" in found["speaks"]
    assert "temperature 24.31 Cel; oxygen 7.82 mg/L" in found["speaks"]
    assert found["speaks"].rstrip().endswith("s")  # the age is the last thing: nothing to fix
    assert "not so that it can be read: ###?!" in found["garbled"]
    assert "no oxygen" in found["half"] or "can be read" in found["half"]
    assert "said nothing for" in found["mute"]
    assert "no " in found["missing"]
    assert "level 30.2 cm" in found["file"]
    assert not (room.parent / "data").exists()


def test_all_is_well_ends_with_0(room: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A room of one probe that speaks."""
    (room.parent / "well.toml").write_text(HEAD + PROBE.format(id="speaks"), encoding="utf-8")
    assert main(["--room", str(room.parent / "well.toml"), "--check"]) == 0
    assert "24.31" in capsys.readouterr().out


def test_half_a_probe_is_not_well(room: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A value that does not come is something wrong, though another does."""
    one = room.parent / "half.toml"
    one.write_text(HEAD + PROBE.format(id="half"), encoding="utf-8")
    assert main(["--room", str(one), "--check"]) == 1
    assert "no oxygen: 24.31,: oxygen: nothing stands there" in capsys.readouterr().out


@contextmanager
def collecting(room: Path, data: Path) -> Iterator[Callable[[Callable[[dict[str, last_word.PortWord]], bool]], None]]:
    """A running collector; what is yielded waits until its last word is as wanted."""
    place = ["--room", str(room), "--data", str(data)]
    running = subprocess.Popen([sys.executable, "-m", "collector", *place], stdout=subprocess.DEVNULL)

    def wait(true: Callable[[dict[str, last_word.PortWord]], bool]) -> None:
        end_s = time.monotonic() + 15
        while not true(last_word.read(data, now_ms())):
            assert time.monotonic() < end_s, last_word.read(data, now_ms())
            assert running.poll() is None
            time.sleep(0.05)

    try:
        yield wait
        assert running.poll() is None, "the collector reads on"
    finally:
        running.terminate()
        running.wait(10)


def asked(room: Path, data: Path) -> tuple[int, dict[str, str]]:
    """The command as a keeper types it: its exit code, and the table's lines."""
    command = [sys.executable, "-m", "api.cli", "collect", "--room", str(room), "--data", str(data), "--check"]
    told = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    return told.returncode, lines_of(told.stdout)


def test_a_port_in_use_is_not_taken(room: Path) -> None:
    """While the collector reads it, the table has the collector's last word."""
    one, data = room.parent / "well.toml", room.parent / "data"
    one.write_text(HEAD + PROBE.format(id="speaks"), encoding="utf-8")
    with collecting(one, data) as wait:
        wait(lambda words: words.get("speaks", NO_WORD).state == "reading")
        code, found = asked(one, data)
    assert code == 0
    assert " yes " in found["speaks"]
    assert "temperature 24.31 Cel; oxygen 7.82 mg/L" in found["speaks"]
    process = (data / "collector.lock").read_text().strip()
    assert f"in use by the running collector (process {process}); its last word: reading" in found["speaks"]


def test_a_collector_that_hears_nothing_says_so(room: Path) -> None:
    """A port in use is no proof that its probe is well."""
    one, data = room.parent / "mute.toml", room.parent / "data"
    one.write_text(HEAD + PROBE.format(id="mute"), encoding="utf-8")
    with collecting(one, data) as wait:
        wait(lambda words: words.get("mute", NO_WORD).state == "waiting")
        code, found = asked(one, data)
    assert code == 1
    assert " no " in found["mute"]
    assert "its last word: waiting" in found["mute"]


def test_a_port_in_use_by_another_program(room: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No collector is running, so it is somebody else."""
    one = room.parent / "well.toml"
    one.write_text(HEAD + PROBE.format(id="speaks"), encoding="utf-8")
    with (room.parent / "speaks").open("rb", buffering=0) as port:
        fcntl.flock(port, fcntl.LOCK_EX)
        assert main(["--room", str(one), "--data", str(room.parent / "data"), "--check"]) == 1
    assert "in use by another program: stop that" in capsys.readouterr().out


def test_a_collector_on_a_broker_is_not_pushed_aside(tmp_path: Path) -> None:
    """The trial comes under a name of its own, takes no message away, and leaves nothing behind."""
    room, data = tmp_path / "room.toml", tmp_path / "data"
    with Broker(tmp_path / "broker") as broker, broker.publisher() as publisher:
        room.write_text(HEAD + ON_BROKER.format(port=broker.port), encoding="utf-8")
        stop = threading.Event()

        def talk() -> None:
            number = 0
            while not stop.wait(0.05):
                publisher.say("t/1", f"{20 + number / 1000:.3f}")
                number += 1

        with collecting(room, data) as wait:
            thread = threading.Thread(target=talk)
            thread.start()
            wait(lambda words: words.get("p1", NO_WORD).state == "reading")
            code, found = asked(room, data)
            stop.set()
            thread.join()
            wait(lambda words: words["p1"].state == "reading")
        assert (code, " yes " in found["p1"]) == (0, True)
        spool = Spool(data / NAME)
        values = [reading.value for _, reading in spool.take(10_000).rows]
        spool.close()
        assert values == [round(values[0] + step / 1000, 3) for step in range(len(values))]
        broker.stop()
        log = (tmp_path / "broker" / "mosquitto.log").read_text()
    assert "already connected" not in log
    assert log.count("-trial") >= 2


def test_a_long_file_is_looked_at_from_its_end(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A year of rows would take minutes, and the newest is what a keeper wants to see."""
    rows = "".join(f"2026-03-01T08:00:00.{n % 1000:03d}Z,{n % 1000 / 10}\n" for n in range(200_000))
    (tmp_path / "level.csv").write_text("time,level\n" + rows + "2026-03-01T08:05:00Z,30.2\n")
    (tmp_path / "room.toml").write_text(HEAD + FILE, encoding="utf-8")
    began_s = time.monotonic()
    assert main(["--room", str(tmp_path / "room.toml"), "--check"]) == 0
    assert time.monotonic() - began_s < 2.0
    assert "level 30.2 cm" in capsys.readouterr().out


def test_a_driver_that_hangs_does_not_hold_up_the_table(
    room: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The others are told, and it is named."""
    released = threading.Event()
    monkeypatch.setattr(CsvRows, "open", lambda self: released.wait(30) and None)
    two = room.parent / "two.toml"
    two.write_text(HEAD + PROBE.format(id="speaks") + FILE, encoding="utf-8")
    assert check(load_config(two), print, open_s=0.5) == 1
    released.set()
    found = lines_of(capsys.readouterr().out)
    assert "24.31" in found["speaks"]
    assert "it did not come back within" in found["file"]


def test_a_last_word_that_is_none(tmp_path: Path) -> None:
    """No file, an old one, or one that was spoilt: nothing is said rather than something false."""
    assert last_word.read(tmp_path, 0) == {}
    port = {"probe": "p1", "state": "reading", "error": "", "last_unreadable": ""}
    readings = {"p1": [RawReading("p1", Quantity.TEMPERATURE, 1000, 24.31, "Cel")]}
    last_word.write(tmp_path, {"time_ms": 1000, "ports": [port]}, readings)
    assert last_word.read(tmp_path, 2000) == {"p1": last_word.PortWord("reading", newest=tuple(readings["p1"]))}
    assert last_word.read(tmp_path, 1000 + last_word.STALE_MS + 1) == {}
    for text in ("", "[]", '{"time_ms": 1000, "ports": [{}], "newest": {}}', '{"time_ms": "x"}', "\x00"):
        (tmp_path / last_word.NAME).write_text(text)
        assert last_word.read(tmp_path, 1000) == {}
    last_word.write(tmp_path / "nowhere", {}, {})


def test_who_holds_the_folder(tmp_path: Path) -> None:
    """Asking takes nothing away, and makes nothing."""
    assert holder(tmp_path) is None
    assert list(tmp_path.iterdir()) == []
    with DataDirLock(tmp_path):
        assert holder(tmp_path) == str(os.getpid())
    assert holder(tmp_path) is None


def test_a_wrong_room_file_ends_with_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is spoken to; a room without probes is told, with 1."""
    (tmp_path / "room.toml").write_text("[room]\n", encoding="utf-8")
    assert main(["--room", str(tmp_path / "room.toml"), "--check"]) == 2
    (tmp_path / "room.toml").write_text('[room]\nname = "R"\nzone = "UTC"\n', encoding="utf-8")
    assert main(["--room", str(tmp_path / "room.toml"), "--check"]) == 1
    assert "[[probe]]" in capsys.readouterr().out


def test_columns() -> None:
    """Side by side, whatever their width."""
    assert table([("a", "bb", "c"), ("aaaa", "b", "a long last one")]) == ["a     bb  c", "aaaa  b   a long last one"]
