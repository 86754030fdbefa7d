"""SDI-12 on a bad line: no wrong value is accepted, the next good answer is read, memory stays bounded."""

from __future__ import annotations

import os
import random
import tempfile
import threading
import time
import tracemalloc
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.domain.quantity import Quantity
from api.domain.tank import Value
from collector.codecs import sdi12
from collector.drivers.base import Batch, Surroundings
from collector.drivers.bus import join
from collector.drivers.sdi12_talk import Talk, Unanswered, finished
from tests.collector.test_sdi12 import driver_on, measured, numbers
from tests.support.sdi12_probe import Mangle, Sdi12Probe, Sensor, check_letters
from tests.support.serial_line import SerialLine

RIGHT = [24.31, 7.82]


@pytest.fixture
def line(tmp_path: Path) -> Iterator[SerialLine]:
    """A line to the sensors."""
    with SerialLine(tmp_path / "port") as plugged:
        yield plugged


def sensor() -> Sensor:
    """One that always measures the same."""
    return Sensor("0", lambda name: ["+24.31", "+7.82"])


def once(spoil: Mangle) -> Mangle:
    """Spoil the first answer with values, then no more."""
    left = [spoil]
    return lambda command, answer: left.pop()(command, answer) if left and "D" in command else [answer]


def slowly(command: str, answer: bytes) -> Iterator[bytes]:
    """Byte by byte."""
    for byte in answer:
        time.sleep(0.001)
        yield bytes([byte])


HARMLESS: dict[str, Mangle] = {
    "byte by byte": slowly,
    "in halves": lambda command, answer: [answer[:4], answer[4:]],
    "doubled": lambda command, answer: [answer + answer],
    "a line of garbage before": lambda command, answer: [b"\x11%&garbage\r\n" + answer],
    "garbage after": lambda command, answer: [answer + b"%&garb\r\nage"],
    "break heard as NUL": lambda command, answer: [b"\0" + answer],
    "another address before": lambda command, answer: [b"1+99.9+99.9\r\n" + answer],
    "a service request before": lambda command, answer: [b"0\r\n" + answer],
}


@pytest.mark.parametrize("crc", [False, True])
@pytest.mark.parametrize("name", HARMLESS)
def test_what_can_be_told_apart_does_no_harm(line: SerialLine, name: str, crc: bool) -> None:
    """In every answer, and at the first asking: M and D0 go out once each."""
    with Sdi12Probe(line, sensor()) as probe:
        probe.mangle = HARMLESS[name]
        probe.echo = True
        driver = driver_on(line, crc=crc, timeout_s=0.3)
        driver.open()
        batch = measured(driver)
        driver.close()
    assert (numbers(batch), batch.unreadable) == (RIGHT, 0)
    assert probe.commands == ["0MC!" if crc else "0M!", "0D0!"]


SPOILT: dict[str, Mangle] = {
    "half of it": lambda command, answer: [answer[:5]],
    "nothing": lambda command, answer: [],
    "a letter lost": lambda command, answer: [answer.replace(b"+7", b"7")],
    "garbage glued before": lambda command, answer: [b"%&" + answer],
    "garbage glued after": lambda command, answer: [answer[:-2] + b"%&\r\n"],
    "another address": lambda command, answer: [b"1" + answer[1:]],
    "parity bits": lambda command, answer: [bytes(byte | 0x80 for byte in answer[:-2]) + b"\r\n"],
    "no values": lambda command, answer: [b"0\r\n"],
    "no end": lambda command, answer: [answer[:-2] + b"+1" * 500],
    "the end as one letter": lambda command, answer: [answer[:-1]],
}


@pytest.mark.parametrize("name", SPOILT)
def test_a_spoilt_answer_is_asked_for_again(line: SerialLine, name: str) -> None:
    """Values are kept by the sensor until the next measurement (section 4.4, from memory)."""
    with Sdi12Probe(line, sensor()) as probe:
        probe.mangle = once(SPOILT[name])
        driver = driver_on(line)
        driver.open()
        batch = measured(driver)
        driver.close()
    assert (numbers(batch), batch.unreadable) == (RIGHT, 0)
    assert probe.commands == ["0M!", "0D0!", "0D0!"]


@pytest.mark.parametrize("name", [name for name in SPOILT if name != "nothing"])
def test_a_line_that_stays_spoilt_is_counted_with_its_reason_and_then_read_again(line: SerialLine, name: str) -> None:
    """The measurement after it is good."""
    with Sdi12Probe(line, sensor()) as probe:
        probe.mangle = lambda command, answer: SPOILT[name](command, answer) if "D" in command else [answer]
        driver = driver_on(line, every_s=0.1)
        driver.open()
        batch = measured(driver)
        assert (numbers(batch), batch.unreadable) == ([], 1)
        assert batch.last_unreadable.startswith("address 0: ")
        probe.mangle = lambda command, answer: [answer]
        assert numbers(measured(driver)) == RIGHT
        driver.close()


@pytest.mark.parametrize(
    ("answer", "reason"),
    [
        (b"00005\r\n", "5 values were promised, 2 came"),
        (b"00001\r\n", "1 values were promised, 2 came"),
        (b"00000\r\n", "it has no values for command M"),
        (b"09992\r\n", "it wants 999 s for M, more than max_wait_s = 60"),
        (b"0 002\r\n", "is not the address and 4 digits"),
    ],
)
def test_a_promise_that_is_not_kept_gives_no_values(line: SerialLine, answer: bytes, reason: str) -> None:
    """A digit of ``atttn`` may be changed on the line: no check stands behind it."""
    with Sdi12Probe(line, sensor()) as probe:
        probe.mangle = lambda command, right: [answer] if "M" in command else [right]
        driver = driver_on(line, tries=1)
        driver.open()
        batch = measured(driver)
        driver.close()
    assert (numbers(batch), batch.unreadable) == ([], 1)
    assert reason in batch.last_unreadable


@pytest.mark.parametrize("command", ["M", "C", "R0"])
def test_with_the_check_a_changed_digit_is_never_a_value(line: SerialLine, command: str) -> None:
    """A reading would be plausible, and wrong."""
    with Sdi12Probe(line, sensor()) as probe:
        probe.mangle = lambda sent, answer: [answer.replace(b"24", b"21")]
        driver = driver_on(line, command=command, crc=True, tries=2)
        driver.open()
        batch = measured(driver)
        driver.close()
    assert numbers(batch) == []
    assert "does not fit its check (CRC)" in batch.last_unreadable


def test_a_late_answer_is_not_taken_for_the_next_question(line: SerialLine) -> None:
    """D0's second answer looks just like D1's."""
    texts = [f"+{n}.{str(n) * 5}" for n in range(1, 9)]
    delays_s = iter((0.5, 0.1))

    def tardy(command: str, answer: bytes) -> Iterator[bytes]:
        if command == "0D0!":
            time.sleep(next(delays_s))
        yield answer

    places = (Value(Quantity.TEMPERATURE, "Cel", field=4), Value(Quantity.OXYGEN, "mg/L", field=5))
    with Sdi12Probe(line, Sensor("0", lambda name: texts)) as probe:
        probe.mangle = tardy
        driver = driver_on(line, values=places, timeout_s=0.3)
        driver.open()
        batch = measured(driver, 5.0)
        driver.close()
    assert numbers(batch) == [4.44444, 5.55555]
    assert probe.commands == ["0M!", "0D0!", "0D0!", "0D1!"]


def test_a_value_that_means_none_is_not_a_reading_and_the_other_is(line: SerialLine) -> None:
    """With its own reason."""
    marked = (Value(Quantity.TEMPERATURE, "Cel", options={"none_value": -9999.0}), Value(Quantity.OXYGEN, "mg/L"))
    with Sdi12Probe(line, Sensor("0", lambda name: ["-9999", "+7.82"])):
        driver = driver_on(line, values=marked)
        driver.open()
        batch = measured(driver)
        driver.close()
    assert (numbers(batch), batch.unreadable) == ([7.82], 1)
    assert batch.last_unreadable == "temperature: -9999 is its word for no value"


def test_an_endless_noise_keeps_reads_short_and_memory_small(line: SerialLine) -> None:
    """And the sensor is measured when it ends."""
    stop = threading.Event()

    def babble() -> None:
        while not stop.is_set():
            line.say(b"0+1+2+3" * 20)
            time.sleep(0.0005)

    driver = driver_on(line, every_s=0.1, tries=1)
    driver.open()
    noise = threading.Thread(target=babble)
    noise.start()
    tracemalloc.start()
    longest_s, got, end_s = 0.0, Batch(), time.monotonic() + 1.5
    while time.monotonic() < end_s:
        before_s = time.monotonic()
        batch = driver.read(0.05)
        longest_s = max(longest_s, time.monotonic() - before_s)
        got = got if batch.empty else batch
        assert not batch.readings
    _, most_bytes = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    stop.set()
    noise.join()
    with Sdi12Probe(line, sensor()):
        assert numbers(measured(driver)) == RIGHT
    driver.close()
    assert longest_s < 0.5
    assert most_bytes < 500_000
    assert "letters without the end of an answer" in got.last_unreadable


class NoiseLine:
    """A port in memory on which every question is answered by what a test has prepared."""

    name = "memory"

    def __init__(self) -> None:
        self.answers: list[bytes] = []
        self.waiting: list[bytes] = []

    def open(self) -> None:
        """Nothing to do."""

    def read(self, wait_s: float) -> bytes:
        """A piece of the answer."""
        return self.waiting.pop(0) if self.waiting else b""

    def write(self, data: bytes, timeout_s: float) -> None:
        """A question."""
        self.waiting = [self.answers.pop(0)]

    def close(self) -> None:
        """Nothing to do."""


NOISE = st.one_of(
    st.binary(max_size=150),
    st.lists(st.sampled_from([b"0", b"1", b"+", b"-", b".", b"3", b"\r\n", b"\0", b"OqZ"]), max_size=30).map(b"".join),
)


@settings(max_examples=1000, deadline=None)
@given(NOISE)
def test_a_thousand_random_answers_through_the_talk_with_the_check(noise: bytes) -> None:
    """Asked three times: noise, noise, the right answer; only what fits its check comes out."""
    clock = [0.0]

    def tick() -> float:
        clock[0] += 0.01
        return clock[0]

    line = NoiseLine()
    line.answers = [noise, noise + b"\r\n", b"0+3.14OqZ\r\n"]
    seat = join("p1", line, f"memory {os.getpid()} {random.random()}", "s")
    around = Surroundings(lambda: 0, tick, lambda s: None, lambda source: None, Path("."))
    talk = Talk(seat, around, 0.1, 3)
    assert seat.take(0.0)
    try:
        asked = talk.ask(b"0D0!", partial(sdi12.values, address="0", crc=True))
        found = finished(talk, asked, tick, 60.0)
    except Unanswered as error:
        pytest.fail(f"the right answer was not read: {error}")
    finally:
        seat.leave()
    if found != [3.14]:
        parts = [part.strip(b"\r\n").lstrip(b"\0") for part in noise.split(b"\r\n")]
        assert [part for part in parts if check_letters(part[:-3]) == part[-3:]]
    assert len(talk._raw) <= sdi12.MOST_BYTES


@settings(max_examples=12, deadline=None)
@given(st.lists(NOISE, min_size=1, max_size=3))
def test_random_answers_through_the_driver_on_a_line(noise: list[bytes]) -> None:
    """With the check only the right values ever come out, and they do come out in the end."""
    with tempfile.TemporaryDirectory() as folder, SerialLine(Path(folder) / "port") as line:
        with Sdi12Probe(line, sensor()) as probe:
            left = list(noise)
            probe.mangle = lambda command, answer: [left.pop(0)] if left and "D" in command else [answer]
            driver = driver_on(line, crc=True, every_s=0.1, timeout_s=0.05)
            driver.open()
            got = Batch()
            while not got.readings:
                got = measured(driver)
            driver.close()
        assert numbers(got) == RIGHT
