"""Probes on real pseudo-terminals: said, asked, glued, garbled, thanked, pulled out."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.tables import Place, take
from api.domain.tank import Probe, Value
from collector.clock import now_ms
from collector.drivers.base import Batch, Surroundings
from collector.drivers.polled_lines import UNANSWERED_LIMIT
from collector.drivers.serial_lines import SerialLines
from collector.drivers.serial_port import SerialPort
from collector.errors import PortReason, PortTrouble
from tests.support.serial_line import SerialLine

VALUES = (Value(Quantity.TEMPERATURE, "Cel", key="T"), Value(Quantity.OXYGEN, "mg/L", key="DO"))


@pytest.fixture
def line(tmp_path: Path) -> Iterator[SerialLine]:
    """A line to a probe."""
    with SerialLine(tmp_path / "port") as plugged:
        yield plugged


def driver_on(
    line: SerialLine, every_s: float = 60.0, monotonic: Callable[[], float] = time.monotonic, **keys: Any
) -> SerialLines:
    """A driver as the room file would make it."""
    probe = Probe("p1", "serial_lines", every_s=every_s, values=VALUES)
    options = take({"port": str(line.link), **keys}, SerialLines.KEYS, Place("room.toml", "", "probe"))
    around = Surroundings(now_ms, monotonic, lambda s: None, lambda source: None, line.link.parent)
    return SerialLines(probe, options, around)


def read_all(driver: SerialLines, for_s: float = 0.1) -> Batch:
    """All batches of a short while as one."""
    readings: list[RawReading] = []
    unreadable, last, acks = 0, "", 0
    end_s = time.monotonic() + for_s
    while (left_s := end_s - time.monotonic()) > 0:
        batch = driver.read(left_s)
        readings.extend(batch.readings)
        unreadable, acks, last = unreadable + batch.unreadable, acks + batch.acks, batch.last_unreadable or last
    return Batch(tuple(readings), unreadable, last, acks=acks)


@pytest.fixture
def opened(line: SerialLine) -> Iterator[SerialLines]:
    """A driver on an open line whose probe streams by itself."""
    driver = driver_on(line)
    driver.open()
    yield driver
    driver.close()


def test_values_keep_the_probes_own_units_and_a_line_has_one_time(line: SerialLine, opened: SerialLines) -> None:
    """Two lines in one read have two times."""
    before_ms = now_ms()
    line.say("T=24.31;DO=7.82\r\nT=24.32;DO=7.81\r\n")
    got = read_all(opened).readings
    assert [(r.quantity, r.value, r.unit) for r in got] == [
        (Quantity.TEMPERATURE, 24.31, "Cel"),
        (Quantity.OXYGEN, 7.82, "mg/L"),
        (Quantity.TEMPERATURE, 24.32, "Cel"),
        (Quantity.OXYGEN, 7.81, "mg/L"),
    ]
    assert got[0].time_ms == got[1].time_ms < got[2].time_ms == got[3].time_ms
    assert before_ms <= got[0].time_ms <= now_ms()


def test_what_waits_on_the_line_before_it_is_opened_is_read(line: SerialLine) -> None:
    """pyserial would flush it away on opening."""
    line.say("T=24.31;DO=7.82\n")
    driver = driver_on(line)
    driver.open()
    assert [r.value for r in read_all(driver).readings] == [24.31, 7.82]
    driver.close()


def test_a_line_in_pieces_and_garbage_around_it(line: SerialLine, opened: SerialLines) -> None:
    """Only what is readable becomes a reading; the rest is counted with its last reason."""
    for piece in (b"T=24", b".31;DO=", b"7.82\nT=NaN;DO=7.80\n\xff\xfe\nT=", b"24.30;DO=7.81\n"):
        line.say(piece)
        time.sleep(0.005)
    batch = read_all(opened)
    assert [r.value for r in batch.readings] == [24.31, 7.82, 7.80, 24.30, 7.81]
    assert batch.unreadable == 2
    assert "byte 0xff is not ascii" in batch.last_unreadable


def test_an_endless_line_is_counted_and_the_next_is_read(line: SerialLine, opened: SerialLines) -> None:
    """In bounded memory."""
    for _ in range(5):
        line.say(b"x" * 900)
        assert read_all(opened, 0.02).readings == ()
    line.say("\nT=24.31;DO=7.82\n")
    batch = read_all(opened)
    assert [r.value for r in batch.readings] == [24.31, 7.82]
    assert (batch.unreadable, batch.last_unreadable) == (1, "a line without an end after 1000 bytes")


def test_a_probe_is_asked_on_a_fixed_beat(line: SerialLine) -> None:
    """The poll text goes out each time, and the answers are read."""
    driver = driver_on(line, every_s=0.1, poll="R\r")
    driver.open()
    start_s = time.monotonic()
    times: list[float] = []
    while len(times) < 6:
        driver.read(0.05)
        if line.hear(2, 0.001) == b"R\r":
            times.append(time.monotonic() - start_s)
            line.say(f"T=24.{len(times)};DO=7.8\n")
    driver.close()
    assert [at_s - times[0] for at_s in times] == pytest.approx([0.0, 0.1, 0.2, 0.3, 0.4, 0.5], abs=0.08)


def test_a_probe_that_never_answers_is_reported_and_opened_anew(line: SerialLine) -> None:
    """After some silent polls in a row the driver gives up, saying what to check."""
    clock = [0.0]
    driver = driver_on(line, every_s=10.0, poll="R\r", timeout_s=1.0, monotonic=lambda: clock[0])
    driver.open()

    def wait_in_vain() -> None:
        for _ in range(1000):
            driver.read(0.0)
            clock[0] += 0.5

    with pytest.raises(PortTrouble, match=f"no answer to {UNANSWERED_LIMIT} polls") as caught:
        wait_in_vain()
    driver.close()
    assert caught.value.reason is PortReason.SILENT
    assert clock[0] == pytest.approx(10.0 * (UNANSWERED_LIMIT - 1) + 1.0, abs=0.5)


def test_a_probe_with_a_memory_is_thanked_for_each_kept_line_only_when_asked_to(line: SerialLine) -> None:
    """Acknowledging is a second step, after the spool's commit; a garbled line is not thanked for."""
    driver = driver_on(line, acknowledge="OK\r")
    driver.open()
    line.say("T=24.31;DO=7.82\nT=24.32;DO=7.83\n#!garbled\n")
    batch = read_all(driver)
    assert line.hear(1, 0.05) == b""
    driver.acknowledge(batch)
    assert line.hear(7, 0.2) == b"OK\rOK\r"
    driver.close()


def test_a_probe_that_insists_on_an_unreadable_line_is_thanked_in_the_end(line: SerialLine) -> None:
    """Else its memory would be stuck behind that line for ever."""
    driver = driver_on(line, acknowledge="OK\r")
    driver.open()
    acks = []
    for _ in range(3):
        line.say("T=ERR;DO=ERR\n")
        acks.append(read_all(driver, 0.03).acks)
    driver.close()
    assert acks == [0, 0, 1]


def test_a_lines_own_time_is_used(line: SerialLine) -> None:
    """So that a line repeated after a crash is known as the same reading."""
    driver = driver_on(line, time_key="AT", time_format="unix")
    driver.open()
    line.say("AT=1900000000 T=24.31 DO=7.82\n")
    assert {r.time_ms for r in read_all(driver).readings} == {1_900_000_000_000}
    driver.close()


def test_pulled_out_and_plugged_in_under_another_name(line: SerialLine) -> None:
    """The link is followed anew at each opening."""
    driver = driver_on(line)
    driver.open()
    line.unplug()
    with pytest.raises(PortTrouble) as gone:
        driver.read(1.0)
    driver.close()
    with pytest.raises(PortTrouble) as missing:
        driver_on(line).open()
    assert gone.value.reason is PortReason.UNPLUGGED
    assert missing.value.reason in (PortReason.MISSING, PortReason.UNPLUGGED)
    line.plug()
    again = driver_on(line)
    again.open()
    line.say("T=24.31;DO=7.82\n")
    assert len(read_all(again).readings) == 2
    again.close()


def test_a_port_in_use_says_so(line: SerialLine) -> None:
    """Two readers would tear each other's lines apart."""
    driver = driver_on(line)
    other = SerialPort("p9", driver.options, line.link.parent)
    other.open()
    with pytest.raises(PortTrouble, match="another program is using it") as caught:
        driver.open()
    other.close()
    assert caught.value.reason is PortReason.BUSY


def test_something_that_is_no_port_says_so(tmp_path: Path, line: SerialLine) -> None:
    """A plain file has no baud rate."""
    line.link.unlink()
    line.link.write_text("24.31\n")
    with pytest.raises(PortTrouble, match="does not take these settings"):
        driver_on(line).open()
