"""The lines a person or a journal gets: never a flood, never silence about the last word."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from collector.console import Console, print_line
from collector.status import StatusBoard


def test_ten_thousand_openings_and_failures_in_a_minute_are_a_handful_of_lines() -> None:
    """One flapping probe: three lines at once, one at the end of the minute with the count and the last word."""
    now_s, lines = 1000.0, list[str]()
    console = Console(lambda: now_s, lines.append)
    board = StatusBoard(lambda: 0, "1", console.say, lambda: now_s)
    board.add("p1", 1.0)
    for number in range(10_000):
        now_s += 60.0 / 10_000
        board.opened("p1")
        board.failing("p1", f"/dev/ttyUSB0: torn out for the {number}th time")
        console.tick()
    now_s += 60.0
    console.tick()
    assert len(lines) <= 5
    assert lines[-1].startswith("p1: failing: /dev/ttyUSB0: torn out for the 9999th time (")
    counted = sum(int(line.split("(")[-1].split()[0]) for line in lines if "changes in the last minute" in line)
    assert counted + 3 >= 19_999


def test_two_hundred_flapping_probes_for_an_hour_do_not_fill_a_journal() -> None:
    """Each has its own line a minute at most; a probe that was calm before is told at once in the middle of it."""
    now_s, lines = 0.0, list[str]()
    console = Console(lambda: now_s, lines.append)
    for second in range(3600):
        now_s += 1.0
        for probe in range(200):
            console.say(f"p{probe}", f"failing: {second}")
        console.tick()
    assert len(lines) <= 200 * (3 + 60)
    console.say("calm", "failing: unplugged")
    assert lines[-1] == "calm: failing: unplugged"


def test_a_terminal_that_is_gone_ends_nothing(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The line is lost, the collector goes on."""
    with (tmp_path / "terminal").open("w") as gone:
        pass
    monkeypatch.setattr(sys, "stdout", gone)
    print_line("a line")
    print_line("another")
    assert sys.stdout is None
