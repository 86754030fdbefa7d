"""Several probes of text lines on one port: each gets its own lines, none another's, and all come back together."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from api.domain.quantity import Quantity
from api.domain.tank import Value
from collector.codecs.fields import FieldLayout
from collector.codecs.names import LineName
from collector.drivers.stream_port import KEEP_S
from tests.support.serial_drivers import all_said, lines_of, said
from tests.support.serial_line import SerialLine

SECOND = (Value(Quantity.TEMPERATURE, "Cel", field=2),)


@pytest.fixture
def line(tmp_path: Path) -> Iterator[SerialLine]:
    """A line to several probes."""
    with SerialLine(tmp_path / "port") as plugged:
        yield plugged


def test_a_name_in_the_line_picks_the_probe(line: SerialLine, tmp_path: Path) -> None:
    """Whichever of them reads the port; a name that only looks alike is not taken."""
    named = {name: lines_of(tmp_path, name, SECOND, match=name) for name in ("T3", "T4")}
    for driver in named.values():
        driver.open()
    line.say("T3,24.31\nT4,22.05\nT33,1.0\nt3,2.0\nT3,24.32\n")
    assert said(named["T4"]) == [22.05]
    assert said(named["T3"]) == [24.31, 24.32]
    line.say("T4,22.06\n")
    assert said(named["T3"]) == []
    assert said(named["T4"]) == [22.06]
    for driver in named.values():
        driver.close()


def test_a_name_behind_a_key(line: SerialLine, tmp_path: Path) -> None:
    """As in ``id=T3 t=24.31``."""
    by_key = (Value(Quantity.TEMPERATURE, "Cel", key="t"),)
    first, second = (lines_of(tmp_path, name, by_key, match=name, match_key="id") for name in ("T3", "T4"))
    first.open()
    second.open()
    line.say("id=T4 t=22.05\nid=T3 t=24.31\n")
    assert (said(first), said(second)) == ([24.31], [22.05])
    first.close()
    second.close()


def test_one_line_with_the_values_of_all(line: SerialLine, tmp_path: Path) -> None:
    """Each takes its own field, and all have the time at which the line came."""
    both = [lines_of(tmp_path, f"p{n}", (Value(Quantity.TEMPERATURE, "Cel", field=n),)) for n in (1, 2)]
    for driver in both:
        driver.open()
    line.say("24.31,22.05\n")
    (one,), (other,) = (all_said(driver).readings for driver in both)
    assert (one.probe, one.value, other.probe, other.value) == ("p1", 24.31, "p2", 22.05)
    assert one.time_ms == other.time_ms
    for driver in both:
        driver.close()


def test_a_name_that_no_probe_has_is_counted_after_a_while(line: SerialLine, tmp_path: Path) -> None:
    """Not at once: a probe that opens the port a little later than another still gets its lines."""
    clock = [100.0]
    first = lines_of(tmp_path, "T3", SECOND, monotonic=lambda: clock[0], match="T3")
    late = lines_of(tmp_path, "T4", SECOND, monotonic=lambda: clock[0], match="T4")
    first.open()
    line.say("T4,22.05\nT5,20.0\n")
    assert first.read(0.2).empty
    clock[0] += KEEP_S - 1
    late.open()
    assert [reading.value for reading in late.read(0.0).readings] == [22.05]
    assert first.read(0.0).empty
    clock[0] += 2
    batch = first.read(0.0)
    assert (batch.unreadable, batch.last_unreadable) == (1, "T5,20.0: names no probe of this port")
    late.close()
    late.open()
    assert late.read(0.0).empty, "nothing is given twice"
    first.close()
    late.close()


def test_the_head_of_a_line_is_not_joined_with_a_line_seconds_later(line: SerialLine, tmp_path: Path) -> None:
    """``24`` of 24.31 and ``4.40`` would make 244.40."""
    clock = [100.0]
    driver = lines_of(tmp_path, monotonic=lambda: clock[0])
    driver.open()
    line.say("24")
    assert driver.read(0.1).empty
    clock[0] += 2.0
    line.say("4.40\n24.41\n")
    batch = driver.read(0.1)
    assert [reading.value for reading in batch.readings] == [4.40, 24.41]
    assert (batch.unreadable, batch.last_unreadable) == (1, "24: a line that was not finished within 2 s")
    driver.close()


class Asked(threading.Thread):
    """Two probes on one line that answer when asked, A with 1.0, 1.1 ..., B with 2.0, 2.1 ...; ``late_s`` delays A."""

    def __init__(self, line: SerialLine) -> None:
        super().__init__(daemon=True)
        self.line, self.late_s, self.echo = line, 0.0, False
        self.stop = threading.Event()
        self.count = {b"A": 0, b"B": 0}
        self.overlaps = 0

    def run(self) -> None:
        while not self.stop.is_set():
            asked = self.line.hear(2, 0.05)
            if not asked:
                continue
            if self.echo:
                self.line.say(asked)
            name = asked[:1]
            self.count[name] += 1
            if name == b"A" and self.late_s:
                self.stop.wait(self.late_s)
            self.overlaps += len(self.line.hear(2, 0.02)) > 0
            self.line.say(f"{1 if name == b'A' else 2}.{self.count[name] % 10}\r\n")


@contextmanager
def answering(line: SerialLine) -> Iterator[Asked]:
    """The probes, stopped at the end."""
    probes = Asked(line)
    probes.start()
    try:
        yield probes
    finally:
        probes.stop.set()
        probes.join()


@pytest.mark.parametrize("echo", [False, True])
def test_polled_probes_take_turns_and_each_gets_its_own_answers(line: SerialLine, tmp_path: Path, echo: bool) -> None:
    """With and without a line that gives the poll back; nobody is asked while another answers."""
    got: dict[str, list[float]] = {"A": [], "B": []}

    def work(name: str) -> None:
        driver = lines_of(tmp_path, name, every_s=0.1, poll=f"{name}\r", timeout_s=0.5)
        driver.open()
        got[name] += said(driver, 1.5)
        driver.close()

    with answering(line) as probes:
        probes.echo = echo
        threads = [threading.Thread(target=work, args=(name,)) for name in got]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert len(got["A"]) >= 4
    assert len(got["B"]) >= 4
    assert {int(value) for value in got["A"]} == {1}
    assert {int(value) for value in got["B"]} == {2}
    assert probes.overlaps == 0


def test_an_answer_that_comes_too_late_is_nobodys(line: SerialLine, tmp_path: Path) -> None:
    """Least of all the answer of the probe that is asked next."""
    first = lines_of(tmp_path, "A", every_s=10.0, poll="A\r", timeout_s=0.2)
    second = lines_of(tmp_path, "B", every_s=10.0, poll="B\r", timeout_s=0.2)
    first.open()
    second.open()
    with answering(line) as probes:
        probes.late_s = 0.3
        taking = threading.Thread(target=lambda: got.append(said(second, 1.0)))
        got: list[list[float]] = []
        early = first.read(0.05)
        taking.start()
        batch = all_said(first, 1.0)
        taking.join()
    assert early.empty
    assert batch.readings == ()
    assert (batch.unreadable, "too late" in batch.last_unreadable) == (1, True)
    assert got == [[2.1]]
    first.close()
    second.close()


def test_a_name_stands_alone_in_its_field() -> None:
    """Not as a part of a longer one, nor twice behind its key."""
    layout = FieldLayout((), separator=";", match_key="id")
    assert LineName("T3", layout).is_in(" T3 ;24.31")
    assert not LineName("T3", layout).is_in("T33;24.31")
    assert LineName("T3", layout, 2).is_in("x;T3")
    assert not LineName("T3", layout, 3).is_in("x;T3")
    assert LineName("T3", layout, key="id").is_in("t=1 id=T3;")
    assert not LineName("T3", layout, key="id").is_in("id=T3 id=T3")
    assert not LineName("T3", layout, key="id").is_in("grid=T3")


def test_twenty_probes_on_one_port_get_a_thousand_lines(line: SerialLine, tmp_path: Path) -> None:
    """Each from its own thread, none lost, none doubled, none another's."""
    names = [f"N{n}" for n in range(20)]
    got: dict[str, list[float]] = {}

    def work(name: str) -> None:
        driver = lines_of(tmp_path, name, SECOND, match=name)
        driver.open()
        values: list[float] = []
        end_s = time.monotonic() + 10
        while len(values) < 50 and time.monotonic() < end_s:
            values += [reading.value for reading in driver.read(0.2).readings]
        got[name] = values
        driver.close()

    threads = [threading.Thread(target=work, args=(name,)) for name in names]
    for thread in threads:
        thread.start()
    for turn in range(50):
        line.say("".join(f"{name},{20 + n + turn / 100:.2f}\n" for n, name in enumerate(names)))
        time.sleep(0.005)
    for thread in threads:
        thread.join()
    assert got == {name: [float(f"{20 + n + turn / 100:.2f}") for turn in range(50)] for n, name in enumerate(names)}
