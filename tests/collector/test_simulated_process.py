"""``python -m collector.simulated`` as a process: its past once, its ports, its end and its next start."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import serial

from collector.simulated import live

ROOT = Path(__file__).parents[2]
TEMPLATE = Path(live.__file__).with_name("room.toml")


def command(folder: Path, *options: str) -> list[str]:
    """The command for the room in this folder."""
    given = ["--room", str(folder / "room.toml"), "--data", str(folder), *options]
    return [sys.executable, "-m", "collector.simulated", *given]


def made(folder: Path) -> subprocess.CompletedProcess[str]:
    """Make the past."""
    return subprocess.run(
        command(folder, "--history"), capture_output=True, text=True, cwd=ROOT, timeout=60, check=False
    )


@contextmanager
def running(folder: Path) -> Iterator[list[Path]]:
    """The room while its ports are open; it must end within 2 s of SIGTERM, with nothing said and exit code 0."""
    with subprocess.Popen(command(folder), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT) as room:
        assert room.stdout is not None
        assert room.stderr is not None
        try:
            assert room.stdout.readline() == "ports ready\n"
            yield sorted((folder / "simulated" / "ports").iterdir())
            room.send_signal(signal.SIGTERM)
            assert room.wait(2) == 0
            assert room.stderr.read() == ""
        finally:
            room.kill()


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with two invented hours."""
    folder = tmp_path_factory.mktemp("process")
    text = TEMPLATE.read_text(encoding="utf-8")
    assert "history_days = 7 " in text
    (folder / "room.toml").write_text(text.replace("history_days = 7 ", "history_days = 0.08 "), encoding="utf-8")
    done = made(folder)
    assert done.returncode == 0, done.stderr
    assert "readings of 0.08 days written to" in done.stdout
    return folder


def test_the_past_is_made_once(begun: Path) -> None:
    """The second call says why it does nothing, and leaves both files byte for byte."""
    paths = [begun / "simulated" / name for name in ("history.csv", "state.json")]
    before = [(path.read_bytes(), path.stat().st_mtime_ns) for path in paths]
    done = made(begun)
    assert done.returncode == 0
    assert "begun already" in done.stdout
    assert [(path.read_bytes(), path.stat().st_mtime_ns) for path in paths] == before


def spoken(ports: list[Path], count: int) -> dict[str, bytes]:
    """Whole lines read with pyserial until ``count`` ports have spoken, at most 15 s."""
    heard: dict[str, bytes] = {}
    lines = {port.name: serial.Serial(str(port), timeout=0) for port in ports}
    try:
        end_s = time.monotonic() + 15
        while time.monotonic() < end_s and sum(text.endswith((b"\n", b"\r")) for text in heard.values()) < count:
            for name, line in lines.items():
                heard[name] = heard.get(name, b"") + line.read(200)
            time.sleep(0.05)
    finally:
        for line in lines.values():
            line.close()
    return {name: text for name, text in heard.items() if text}


def stood(state: Path, minutes: int) -> dict[str, object]:
    """Make the saved room one that stopped so many minutes ago; gives what it holds."""
    body: dict[str, object] = json.loads(state.read_text(encoding="utf-8"))
    for name in ("time_ms", "wall_ms"):
        body[name] = int(str(body[name])) - minutes * 60_000
    state.write_text(json.dumps(body), encoding="utf-8")
    return body


def test_probes_speak_over_ports_and_each_start_goes_on(begun: Path) -> None:
    """Twelve ports, lines of numbers; the ports go at the end; the next start makes up for the time it stood."""
    state = begun / "simulated" / "state.json"
    for count in (3, 1):
        before = stood(state, minutes=10)
        with running(begun) as ports:
            assert len(ports) == 12
            heard = spoken(ports, count)
        assert len(heard) >= count
        assert all(any(48 <= byte <= 57 for byte in text) for text in heard.values()), heard
        assert list((begun / "simulated" / "ports").iterdir()) == []
        after = json.loads(state.read_text(encoding="utf-8"))
        assert (after["first_start_ms"], after["opening"]) == (before["first_start_ms"], before["opening"])
        assert abs(after["time_ms"] - time.time() * 1000) < 10_000
        assert after["oxygen_mg_l"] != before["oxygen_mg_l"]
