"""What the watcher and the service are told: every change, never a flood, never a rosy silence."""

from __future__ import annotations

import json
from pathlib import Path

from collector.console import Console
from collector.drivers.base import Batch
from collector.status import PortMood, StatusBoard
from collector.stock import StockState
from tests.collector.conftest import readings

EMPTY_SPOOL = StockState(0, None, 0, 0, None)


class Scene:
    """A board and a console on one clock that the test moves."""

    def __init__(self) -> None:
        self.now_s = 1000.0
        self.lines: list[str] = []
        self.console = Console(lambda: self.now_s, self.lines.append)
        self.board = StatusBoard(lambda: int(self.now_s * 1000), "1.2.3", self.console.say)


def test_a_port_is_waiting_until_it_reads_and_again_when_it_falls_quiet() -> None:
    """Quiet means three of its beats without a reading."""
    scene = Scene()
    scene.board.add("p1", 20.0)
    scene.board.opened("p1")
    assert scene.board.moods() == {"p1": PortMood.WAITING}
    scene.board.heard("p1", Batch(tuple(readings(2))))
    assert scene.board.moods() == {"p1": PortMood.READING}
    scene.now_s += 60.0
    scene.board.tick()
    assert scene.board.moods() == {"p1": PortMood.READING}
    scene.now_s += 0.1
    scene.board.tick()
    assert scene.board.moods() == {"p1": PortMood.WAITING}
    assert scene.lines == ["p1: reading", "p1: open, but no reading for 60 s"]


def test_unreadable_lines_do_not_make_a_port_look_well() -> None:
    """They are counted, and the last is shown."""
    scene = Scene()
    scene.board.add("p1", 1.0)
    scene.board.heard("p1", Batch(unreadable=3, last_unreadable="ERR: 'ERR' is not a number"))
    (port,) = scene.board.document(EMPTY_SPOOL)["ports"]
    assert (port["state"], port["unreadable"], port["last_unreadable"]) == ("waiting", 3, "ERR: 'ERR' is not a number")


def test_the_report_has_the_agreed_keys_and_is_json() -> None:
    """Its shape is a contract with the service."""
    scene = Scene()
    scene.board.add("p1", 1.0)
    scene.board.heard("p1", Batch(tuple(readings(3))))
    scene.now_s += 5.0
    scene.board.failing("p1", "/dev/ttyUSB0: the probe was unplugged")
    document = scene.board.document(StockState(7, 1_900_000_000_000, 2, 1, "the disk takes nothing"))
    assert json.loads(json.dumps(document)) == {
        "time_ms": 1_005_000,
        "started_ms": 1_000_000,
        "version": "1.2.3",
        "spool": {
            "waiting": 7,
            "oldest_ms": 1_900_000_000_000,
            "dropped": 2,
            "refused": 1,
            "trouble": "the disk takes nothing",
        },
        "ports": [
            {
                "probe": "p1",
                "state": "failing",
                "since_ms": 1_005_000,
                "last_reading_ms": 1_900_000_002_000,
                "readings": 3,
                "unreadable": 0,
                "last_unreadable": "",
                "error": "/dev/ttyUSB0: the probe was unplugged",
            }
        ],
    }


def test_a_flapping_probe_writes_one_line_a_minute_with_a_count() -> None:
    """After its first three; another probe is not held back by it; the last word always comes."""
    scene = Scene()
    for probe in ("p1", "p2"):
        scene.board.add(probe, 1.0)
    for _ in range(600):
        scene.now_s += 1.0
        scene.board.heard("p1", Batch(tuple(readings(1))))
        scene.board.failing("p1", "unplugged")
        scene.console.tick()
    assert len(scene.lines) <= 3 + 10
    assert scene.lines[-1].startswith("p1: failing: unplugged (")
    assert scene.lines[-1].endswith(" changes in the last minute)")
    scene.board.failing("p2", "unplugged")
    assert scene.lines[-1] == "p2: failing: unplugged"
    scene.board.heard("p1", Batch(tuple(readings(1))))
    scene.now_s += 61.0
    scene.console.tick()
    assert scene.lines[-1].startswith("p1: reading")


def test_states_are_the_four_agreed_words() -> None:
    """The pages know these and no others."""
    assert {str(mood) for mood in PortMood} == {"reading", "waiting", "failing", "stopped"}


def test_the_collector_needs_no_web_framework(tmp_path: Path) -> None:
    """Nor numbers in bulk: on a small computer it runs beside the service for years."""
    import subprocess
    import sys

    code = (
        "import sys; import collector.runner, collector.once, collector.drivers.serial_lines;"
        "print(*{'fastapi', 'pydantic', 'starlette', 'numpy', 'api.services', 'api.web'} & set(sys.modules))"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == ""
