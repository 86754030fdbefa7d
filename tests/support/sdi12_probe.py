"""Sensors on an SDI-12 line, simulated at the far end of a pseudo-terminal, which can also misbehave.

Written against SDI-12 version 1.4 from memory. Must not do: use anything of the collector, least of all its check.
"""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from types import TracebackType

from tests.support.serial_line import SerialLine

Mangle = Callable[[str, bytes], Iterable[bytes]]
"""Command and right answer to the pieces that are sent instead."""
COMMAND = re.compile(r"(?P<letter>[MCR])(?P<check>C?)(?P<number>[0-9]?)\Z")


def check_letters(text: bytes) -> bytes:
    """The check, by long division: bits of each byte from the lowest, divided by x^16 + x^15 + x^2 + 1.

    Section 4.4.12 tells it as a shift register; its worked examples (from memory) are tried in ``test_sdi12_codec.py``.
    """
    bits = "".join(f"{byte:08b}"[::-1] for byte in text) + "0" * 16
    remainder = 0
    for bit in bits:
        remainder = (remainder << 1) | int(bit)
        if remainder & 0x10000:
            remainder ^= 0x18005
    crc = int(f"{remainder:016b}"[::-1], 2)
    return bytes((64 + crc // 4096, 64 + crc // 64 % 64, 64 + crc % 64))


@dataclass
class Sensor:
    """One sensor. ``measure`` says the values, signs and all, for M, M1, C, R0 ...; None: it does not answer at all."""

    address: str
    measure: Callable[[str], Sequence[str] | None]
    takes_s: int = 0
    ready_after_s: float | None = None
    identity: str = "14EXAMPLE PROBE1100A7"
    _parts: list[str] = field(default_factory=list)
    _check: bool = False

    def answer(self, command: str) -> bytes | None:
        """What it says to a command without its address and ``!``."""
        if command == "":
            return self._said("")
        if command == "I":
            return self._said(self.identity)
        if command[0] == "D":
            index = int(command[1:])
            return self._said(self._parts[index] if index < len(self._parts) else "", self._check)
        match = COMMAND.match(command)
        return None if match is None else self._start(match["letter"], match["check"] == "C", match["number"])

    def _start(self, letter: str, check: bool, number: str) -> bytes | None:
        values = self.measure(letter + number)
        if values is None:
            return None
        if letter == "R":
            return self._said("".join(values), check)
        self._check, self._parts = check, [""]
        for value in values:
            if len(self._parts[-1] + value) > (35 if letter == "M" else 75):
                self._parts.append("")
            self._parts[-1] += value
        return self._said(f"{self.takes_s:03d}{len(values):0{1 if letter == 'M' else 2}d}")

    def _said(self, text: str, check: bool = False) -> bytes:
        said = (self.address + text).encode("ascii")
        return said + (check_letters(said) if check else b"") + b"\r\n"


class Sdi12Probe:
    """All sensors of one line, on a thread. ``mangle`` may spoil what is sent, ``echo`` repeats what is heard."""

    def __init__(self, line: SerialLine, *sensors: Sensor) -> None:
        self.line, self.sensors = line, {sensor.address: sensor for sensor in sensors}
        self.commands: list[str] = []
        self.mangle: Mangle = lambda command, answer: [answer]
        self.echo = False
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin to listen."""
        self._stop.clear()
        self._thread = threading.Thread(target=self._run, name="sdi12 sensors", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Fall silent, so that the line can be unplugged."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join()

    def _run(self) -> None:
        heard = b""
        requests: list[tuple[float, bytes]] = []
        while not self._stop.is_set():
            heard += self.line.hear(1, 0.005)
            if heard.endswith(b"!"):
                requests += self._react(heard)
                heard = b""
            for due in [request for request in requests if request[0] <= time.monotonic()]:
                requests.remove(due)
                self._say("", due[1])

    def _react(self, heard: bytes) -> list[tuple[float, bytes]]:
        if self.echo:
            self.line.say(heard)
        command = heard.decode("latin-1")
        self.commands.append(command)
        sensor = self.sensors.get(command[:1])
        answer = None if sensor is None else sensor.answer(command[1:-1])
        self._say(command, answer or b"")
        if sensor is None or not answer or sensor.ready_after_s is None or command[1:2] != "M":
            return []
        return [(time.monotonic() + sensor.ready_after_s, f"{sensor.address}\r\n".encode())]

    def _say(self, command: str, answer: bytes) -> None:
        for piece in self.mangle(command, answer):
            if piece and not self._stop.is_set():
                self.line.say(piece)

    def __enter__(self) -> Sdi12Probe:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()
