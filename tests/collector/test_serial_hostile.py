"""Text lines torn, glued, garbled and endless: no crash, no wrong value, the next good line is read, memory bounded."""

from __future__ import annotations

import threading
import tracemalloc
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from api.domain.quantity import Quantity
from api.domain.tank import Value
from collector.codecs.echo import answers, could_be_a_number
from collector.drivers.stream_port import INBOX_BYTES, KEEP_BYTES, Listener, StreamPort
from tests.support.serial_drivers import all_said, lines_of, said
from tests.support.serial_line import SerialLine

GOOD = b"T=24.31;DO=7.82\r\n"
KEYED = (Value(Quantity.TEMPERATURE, "Cel", key="T"), Value(Quantity.OXYGEN, "mg/L", key="DO"))


@pytest.fixture
def line(tmp_path: Path) -> Iterator[SerialLine]:
    """A line to a probe."""
    with SerialLine(tmp_path / "port") as plugged:
        yield plugged


FRAMES = [
    ("whole", [GOOD], [24.31, 7.82], 0),
    ("halved", [GOOD[:7], GOOD[7:]], [24.31, 7.82], 0),
    ("byte by byte", [bytes([byte]) for byte in GOOD], [24.31, 7.82], 0),
    ("doubled", [GOOD + GOOD], [24.31, 7.82, 24.31, 7.82], 0),
    ("garbage before", [b"\x00\xff\x7f#!\r\n" + GOOD], [24.31, 7.82], 1),
    ("garbage after", [GOOD + b"\xfe\xfe\x80\n"], [24.31, 7.82], 1),
    ("garbage joined in front", [b"\x00\x1b" + GOOD], [24.31, 7.82], 0),
    ("no number", [b"T=ERR;DO=NaN\n"], [], 1),
    ("a tail behind the number", [b"T=24.31C;DO=7.82mg\n"], [], 1),
    ("the key twice", [b"T=24.31;T=24.32;DO=7.82\n"], [7.82], 1),
    ("infinite", [b"T=1e999;DO=-Inf\n"], [], 1),
    ("empty lines", [b"\n\r\n \n" + GOOD], [24.31, 7.82], 1),
]


@pytest.mark.parametrize(("kind", "pieces", "values", "unreadable"), FRAMES, ids=[frame[0] for frame in FRAMES])
def test_a_frame_in_every_shape(
    line: SerialLine, tmp_path: Path, kind: str, pieces: list[bytes], values: list[float], unreadable: int
) -> None:
    """And the good one after it is read."""
    driver = lines_of(tmp_path, values=KEYED)
    driver.open()
    for piece in pieces:
        line.say(piece)
    batch = all_said(driver, 0.05)
    assert ([reading.value for reading in batch.readings], batch.unreadable) == (values, unreadable)
    line.say(b"T=20.5;DO=8.0\n")
    assert said(driver, 0.05) == [20.5, 8.0]
    driver.close()


def _listening(wants: bytes = b"") -> tuple[StreamPort, Listener]:
    options = {"port": "x", "line_end": "\n", "max_line": 1000, "timeout_s": 2.0}
    port = StreamPort("p1", options, Path("/"), lambda: 0.0, 35.0)
    listener = Listener("p1", lambda line: line.startswith(wants))
    port.listen(listener)
    return port, listener


ONLY_IF_WRITTEN = st.lists(
    st.one_of(st.binary(max_size=60), st.sampled_from([b"\n", b"T=", b"24.31", b";", b"DO=7.82", GOOD, b"-", b"."])),
    max_size=30,
)


@given(ONLY_IF_WRITTEN)
@example([b"T=2", b"4.31;DO=7.82", b"\n"])
@settings(max_examples=10_000, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_ten_thousand_random_streams(pieces: list[bytes]) -> None:
    """However cut: lines are what stands between line ends, and a value is only what such a line says in full."""
    port, listener = _listening()
    for piece in pieces:
        port.hear(piece, 0)
    heard = port.take(listener)
    whole = [part.strip(b"\r\n") for part in b"".join(pieces).split(b"\n")[:-1]]
    assert [one.line for one in heard if not one.problem] == [part for part in whole if part and len(part) <= 1000]
    driver = lines_of(Path("/"), values=KEYED)
    batch = driver._batch(heard)
    written = [text for part in whole for text in _numbers(part)]
    assert [reading.value for reading in batch.readings] == written
    port.hear(b"\n" + GOOD, 0)
    after = driver._batch(port.take(listener)).readings
    assert [reading.value for reading in after][-2:] == [24.31, 7.82]


def _numbers(part: bytes) -> list[float]:
    """What a line says, read another way: split at everything that ends a value, then one key, one number, or none."""
    if not part or len(part) > 1000 or any(byte > 127 for byte in part):
        return []
    text = part.decode("ascii")
    found: list[float] = []
    for key in ("T", "DO"):
        places = [
            at
            for at in range(len(text))
            if text.startswith(key, at) and not (at and (text[at - 1].isalnum() or text[at - 1] == "_"))
        ]
        values = [rest[1:] for rest in (text[at + len(key) :].lstrip() for at in places) if rest[:1] in ("=", ":")]
        if len(values) != 1:
            continue
        value = values[0]
        for end in " \t;|,":
            value = value.split(end)[0]
        value = value.strip()
        if value and set(value) <= set("0123456789+-.eE"):
            try:
                number = float(value)
            except ValueError:
                continue
            if abs(number) != float("inf"):
                found.append(number)
    return found


def test_an_endless_line_takes_no_memory() -> None:
    """Fifty megabytes without a line end, then lines nobody wants, then lines nobody takes."""
    port, listener = _listening(b"T")
    tracemalloc.start()
    for _ in range(12_000):
        port.hear(b"x" * 4096, 0)
    for number in range(20_000):
        port.hear(b"U%d\n" % number, 0)
    for number in range(20_000):
        port.hear(b"T%d\n" % number, 0)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 2 * (INBOX_BYTES + KEEP_BYTES)
    heard = port.take(listener)
    assert "lines fell out" in heard[0].problem
    assert heard[-1].line == b"T19999"


@contextmanager
def asked(line: SerialLine, *answer: bytes) -> Iterator[list[bytes]]:
    """A probe that answers each poll of two bytes by the next of these."""
    left, heard, stop = list(answer), [], threading.Event()

    def run() -> None:
        while not stop.is_set():
            poll = line.hear(2, 0.05)
            if poll:
                heard.append(poll)
                if left:
                    line.say(left.pop(0))

    thread = threading.Thread(target=run)
    thread.start()
    try:
        yield heard
    finally:
        stop.set()
        thread.join()


POLLED = [
    ("whole", b"24.31\r\n", [24.31], 0),
    ("echo glued in front", b"R\r24.31\r\n", [24.31], 0),
    ("echo as a line", b"R\r\n24.31\r\n", [24.31], 0),
    ("echo alone", b"R\r\n", [], 0),
    ("doubled", b"24.31\r\n24.31\r\n", [24.31, 24.31], 0),
    ("garbage before", b"\xff\x00\n24.31\r\n", [24.31], 1),
    ("garbage after", b"24.31\r\n\xff\x00\n", [24.31], 1),
    ("no end", b"24.31", [], 0),
    ("no number", b"ERR\r\n", [], 1),
    ("no end in sight", b"9" * 3000, [], 0),
]


@pytest.mark.parametrize(("kind", "answer", "values", "unreadable"), POLLED, ids=[frame[0] for frame in POLLED])
def test_answers_in_every_shape(
    line: SerialLine, tmp_path: Path, kind: str, answer: bytes, values: list[float], unreadable: int
) -> None:
    """And the good answer to the next poll is read; what of this one came too late is never joined with it."""
    with asked(line, answer, b"20.5\r\n"):
        driver = lines_of(tmp_path, every_s=0.4, timeout_s=0.15, poll="R\r")
        driver.open()
        batch = all_said(driver, 0.3)
        assert ([reading.value for reading in batch.readings], batch.unreadable) == (values, unreadable)
        assert said(driver, 0.35) == [20.5]
        driver.close()


def test_what_comes_unasked_is_counted_and_never_an_answer(line: SerialLine, tmp_path: Path) -> None:
    """Before the poll and between two of them."""
    line.say("1.0\n2.")
    with asked(line, b"24.31\n"):
        driver = lines_of(tmp_path, every_s=30.0, poll="R\r")
        driver.open()
        batch = all_said(driver, 0.4)
        line.say("5\n")
        later = all_said(driver, 0.1)
        driver.close()
    assert [reading.value for reading in batch.readings] == [24.31]
    assert (batch.unreadable, batch.last_unreadable[:35]) == (1, "1.0: came without being asked for, ")
    assert (later.readings, later.unreadable) == ((), 1)


def test_an_echo_of_a_poll_that_ends_like_a_number(line: SerialLine, tmp_path: Path) -> None:
    """Polled by ``1?``-like texts the glue could be read as another number, so the keeper says whether it echoes."""
    with asked(line, b"#124.31\n", b"24.31\n"):
        driver = lines_of(tmp_path, every_s=0.3, timeout_s=0.1, poll="#1", echo=True)
        driver.open()
        batch = all_said(driver, 0.5)
        driver.close()
    assert [reading.value for reading in batch.readings] == [24.31]
    assert (batch.unreadable, "echo = true" in batch.last_unreadable) == (1, True)


ECHOES = [
    (b"24.31", b"R\r", None, [b"24.31"]),
    (b"R\r24.31", b"R\r", None, [b"24.31"]),
    (b"R", b"R\r", None, []),
    (b"R24.31", b"R", None, [b"R24.31", b"24.31"]),
    (b"124.31", b"1", True, [b"24.31"]),
    (b"124.31", b"1", False, [b"124.31"]),
    (b"1", b"1\r", None, []),
    (b"1", b"1\r", False, [b"1"]),
    (b"24.31", b"\r", None, [b"24.31"]),
]


@pytest.mark.parametrize(("text", "poll", "echo", "wanted"), ECHOES)
def test_an_answer_without_its_echo(text: bytes, poll: bytes, echo: bool | None, wanted: list[bytes]) -> None:
    """Whatever the answer may be, in the order in which it is tried."""
    assert answers(text, poll, echo) == wanted


def test_polls_that_could_be_glued_to_a_number() -> None:
    """Only their own last letter matters."""
    assert [could_be_a_number(poll) for poll in (b"R1", b"R", b"R1\r", b"+", b"E")] == [True, False, False, True, True]
