"""Probes of text lines on one port in a room file: what is refused before it starts, and what comes back together."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.domain.errors import RoomFileError
from collector.backoff import Backoff
from collector.clock import now_ms
from collector.config import load_config
from collector.spool import Spool
from collector.status import PortMood, StatusBoard
from collector.worker import Worker
from tests.collector.conftest import Until
from tests.support.serial_line import SerialLine


@pytest.fixture
def line(tmp_path: Path) -> Iterator[SerialLine]:
    """A line to several probes."""
    with SerialLine(tmp_path / "port") as plugged:
        yield plugged


HEAD = '[room]\nname = "r"\nzone = "UTC"\n'
TABLE = """
[[probe]]
id = "{name}"
driver = "serial_lines"
port = "port"
every_s = 1
{more}
[[probe.value]]
quantity = "temperature"
unit = "Cel"
{place}
"""


def room(folder: Path, *tables: tuple[str, str, str]) -> Path:
    """A room file of probes on one port."""
    path = folder / "room.toml"
    path.write_text(HEAD + "".join(TABLE.format(name=name, more=more, place=place) for name, more, place in tables))
    return path


REFUSED = [
    (("a", "", ""), ("b", "", ""), "reads the same port as probe 'a'. Give each its own, or say whose a line is"),
    (("a", 'match = "T3"', "field = 2"), ("b", "", "field = 3"), "shares its port with probe 'a', which has it as"),
    (("a", "baud = 1200", "field = 1"), ("b", "", "field = 2"), "Write the same driver and the same port settings"),
    (("a", "", "field = 1"), ("b", "", "field = 1"), "and both have values at 1"),
    (("a", 'match = "T3"', "field = 2"), ("b", 'match = "T3"', "field = 2"), "and both have match = 'T3'"),
    (("a", 'poll = "R"', ""), ("b", 'poll = "R"', ""), "and both have poll = 'R' and values at None"),
    (("a", 'poll = "A"\nacknowledge = "x"', ""), ("b", 'poll = "B"', ""), "reads the same port as probe 'a'"),
    (("a", "", "field = 1"), ("b", 'match_field = 2\nport = "x"', ""), "says where a name stands, but not which"),
    (("a", "", "field = 1"), ("b", 'match = "T3"', ""), "Say for each value where it stands"),
    (("a", "", "field = 1"), ("b", 'match = "T3"', "field = 1"), "a value stands in the field of the name"),
    (("a", "", "field = 1"), ("b", 'match = " "', "field = 2"), "match is empty or has spaces"),
    (("a", "", "field = 1"), ("b", 'poll = "1"', "field = 2"), "Say echo = true or echo = false."),
]


@pytest.mark.parametrize(("first", "second", "words"), REFUSED)
def test_probes_that_would_spoil_each_other_are_refused(
    tmp_path: Path, first: tuple[str, str, str], second: tuple[str, str, str], words: str
) -> None:
    """Before anything starts, with the line of the second one's table."""
    path = room(tmp_path, first, second)
    text = path.read_text().replace('port = "port"\nevery_s = 1\nmatch_field', "every_s = 1\nmatch_field")
    path.write_text(text)
    with pytest.raises(RoomFileError) as caught:
        load_config(path)
    assert words in str(caught.value)
    assert caught.value.line is not None
    assert caught.value.line > text[: text.index('id = "b"')].count("\n")


def _replug(line: SerialLine) -> None:
    """Pull out and plug in again, as another terminal: the old number is taken by somebody else meanwhile."""
    before = os.readlink(line.link)
    line.unplug()
    taken: list[int] = []
    while not taken or os.ttyname(taken[-1]) != before:
        taken += os.openpty()
        time.sleep(0.01)
    line.plug()
    assert os.readlink(line.link) != before
    for fd in taken:
        os.close(fd)


def test_pulled_out_and_back_under_another_number_both_are_read_again(
    tmp_path: Path, line: SerialLine, spool: Spool, until: Until
) -> None:
    """The name by which the probe is known (a link, as in /dev/serial/by-id) stays; what it points to does not."""
    path = room(tmp_path, *((name, f'match = "{name}"', "field = 2") for name in ("T3", "T4")))
    config, stop = load_config(path), threading.Event()
    board = StatusBoard(now_ms, "test", lambda probe, words: None)
    quick = Backoff(draw=lambda low, high: 0.05)
    workers = [Worker(checked, config, spool, board, stop, quick) for checked in config.probes]

    def given(probe: str) -> int:
        ports = board.document(spool.state())["ports"]
        return int(next(port["readings"] for port in ports if port["probe"] == probe))

    for worker in workers:
        worker.start()
    for round_ in range(1, 4):
        line.say(f"T3,24.{round_}\nT4,22.{round_}\n")
        until(lambda: (given("T3"), given("T4")) == (round_, round_))  # noqa: B023 looked at in this round only
        _replug(line)
    line.unplug()
    until(lambda: set(board.moods().values()) == {PortMood.FAILING})
    stop.set()
    assert all(worker.join(3.0) for worker in workers)
