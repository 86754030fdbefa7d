"""``collect --check`` as a keeper uses it: real lines, one of each fate, and a table that says what to fix."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from collector.__main__ import main
from collector.check import table
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
TALK = {"speaks": "24.31,7.82\r\n", "garbled": "###?!\r\n", "half": "24.31,\r\n"}


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Path]:
    """A room file with six probes; those that speak do so all the time."""
    (tmp_path / "level.csv").write_text("time,level\n2026-03-01T08:00:00Z,30.1\n2026-03-01T08:01:00Z,30.2\n")
    names = ("speaks", "garbled", "half", "mute", "missing")
    text = '[room]\nname = "R"\nzone = "UTC"\n' + "".join(PROBE.format(id=name) for name in names) + FILE
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
    (room.parent / "well.toml").write_text(
        '[room]\nname = "R"\nzone = "UTC"\n' + PROBE.format(id="speaks"), encoding="utf-8"
    )
    assert main(["--room", str(room.parent / "well.toml"), "--check"]) == 0
    assert "24.31" in capsys.readouterr().out


def test_a_port_in_use_is_not_taken(room: Path) -> None:
    """While the collector reads it: the table says so, and the collector reads on. By the command a keeper types."""
    folder = room.parent
    (folder / "well.toml").write_text(
        '[room]\nname = "R"\nzone = "UTC"\n' + PROBE.format(id="speaks"), encoding="utf-8"
    )
    place = ["--room", str(folder / "well.toml"), "--data", str(folder / "data")]
    running = subprocess.Popen([sys.executable, "-m", "collector", *place], stdout=subprocess.PIPE, text=True)
    try:
        assert running.stdout is not None
        while "speaks: reading" not in running.stdout.readline():
            assert running.poll() is None
        asked = [sys.executable, "-m", "api.cli", "collect", *place, "--check"]
        told = subprocess.run(asked, capture_output=True, text=True, timeout=60, check=False)
        assert (told.returncode, "in use" in told.stdout) == (1, True)
        time.sleep(0.5)
        assert running.poll() is None
    finally:
        running.terminate()
        running.communicate(timeout=10)


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
