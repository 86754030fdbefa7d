"""Ten thousand random answers to polls: only a whole line that came between the poll and its time limit is a value."""

from __future__ import annotations

import itertools
from collections import deque
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from collector.drivers import polled_lines
from collector.drivers.bus import join
from tests.support.serial_drivers import lines_of

POLL = b"R\r"
PLACES = itertools.count()


class Line:
    """A port in memory: ``coming`` is what each read brings; a tenth of a second passes with each."""

    def __init__(self, probe: str, options: Mapping[str, Any], folder: Path) -> None:
        self.name = "line"
        self.coming: deque[bytes] = deque()
        self.after_poll: deque[bytes] = deque()
        self.now_s = 0.0

    def open(self) -> None:
        """Nothing to do."""

    def close(self) -> None:
        """Nothing to do."""

    def read(self, wait_s: float) -> bytes:
        """The next piece, or silence."""
        self.now_s += min(wait_s, 0.1) if not self.coming else 0.001
        return self.coming.popleft() if self.coming else b""

    def write(self, data: bytes, timeout_s: float) -> None:
        """The probe hears the poll and answers."""
        assert data == POLL
        self.coming.extend(self.after_poll)
        self.after_poll.clear()


PIECES = st.lists(
    st.one_of(
        st.binary(min_size=1, max_size=20),
        st.sampled_from([b"24.31", b"\n", b"\r\n", b"R\r", b"R", b"24.31\r\n", b"-", b"."]),
    ),
    max_size=12,
)


def _read(before: list[bytes], answer: list[bytes]) -> list[float]:
    """Poll once on a line where some of that comes before the poll, then once more; the values of the first poll."""
    line = Line("p1", {}, Path("/"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(polled_lines, "SerialPort", lambda probe, options, folder: line)
        patch.setattr(polled_lines, "join", lambda probe, port, key, form: join(probe, port, f"{next(PLACES)}", form))
        driver = lines_of(
            Path("/"), every_s=10.0, timeout_s=1.0, poll="R\r", monotonic=lambda: line.now_s, pause=lambda s: None
        )
        driver.open()
        line.coming.extend(before)
        line.after_poll.extend(answer)
        first: list[float] = []
        while line.now_s < 9.0:
            first += [reading.value for reading in driver.read(0.1).readings]
            line.now_s += 0.05 if line.coming else 1.0
        line.after_poll.append(b"20.5\r\n")
        second: list[float] = []
        while line.now_s < 13.0:
            second += [reading.value for reading in driver.read(0.1).readings]
            line.now_s += 0.05 if line.coming else 1.0
        driver.close()
    assert second == [20.5], "the next poll is not harmed"
    return first


@given(PIECES, PIECES)
@example([], [b"24.31\r\n"])
@example([], [b"R\r", b"24.31\r\n"])
@example([b"1.0\n2."], [b"5\n"])
@settings(max_examples=10_000, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_ten_thousand_random_answers(before: list[bytes], answer: list[bytes]) -> None:
    """Whatever came before the poll is no part of any value."""
    values = _read(before, answer)
    lines = [part.strip(b"\r\n") for part in b"".join(answer).split(b"\n")[:-1]]
    allowed = [number for number in (_number(part) for part in lines) if number is not None]
    assert len(values) <= len(allowed)
    remaining = iter(allowed)
    assert all(value in remaining for value in values), "in the order in which they came"
    if not before and lines and _number(lines[0]) is not None:
        assert values[:1] == [_number(lines[0])]


def _number(part: bytes) -> float | None:
    """The number a line says, without the poll that may stand before it; read another way than the driver does."""
    text = part.decode("ascii", "replace").removeprefix("R\r").split(",")[0].strip()
    if not text or set(text) - set("0123456789+-.eE"):
        return None
    try:
        return float(text)
    except ValueError:
        return None
