"""Question and answer on an SDI-12 line that several sensors share: break, command, echo, noise, silence, asking again.

Must not do: know what a measurement is, or wait longer than the one who calls ``run`` has said.

Figures, all from SDI-12 v1.4 section 7 (timing), named from memory. A break is at least 12 ms of spacing, then at least
8.33 ms of marking. A sensor begins to answer within 15 ms of the command, with no gap over 1.66 ms between letters. A
recorder asks at least three times, with a break, not sooner than 112.5 ms after the last. At 1200 baud a letter takes
8.33 ms, so the longest answer (81 letters) takes 0.675 s; ``timeout_s`` is for a whole answer and for what the adapter
and the computer add, which may be tens of milliseconds: a break goes before every command, as after 87 ms of marking.
"""

from __future__ import annotations

import termios
import time
from collections import deque
from collections.abc import Callable, Generator
from typing import TypeVar

from collector.codecs.sdi12 import MOST_BYTES, answer, is_service_request, splitter
from collector.drivers.base import Surroundings
from collector.drivers.bus import Seat
from collector.drivers.serial_port import SerialPort

T = TypeVar("T")
Steps = Generator[None, None, T]
"""Work that hands control back whenever the time of the present ``read`` is up, and goes on in the next."""
BREAK_S = 0.015
MARK_S = 0.009
QUIET_S = 0.03
"""So long nothing may come before a command: more than the gap between two letters, and than a block of an adapter."""
AGAIN_S = 0.12


class Unanswered(Exception):
    """No usable answer, however often asked; ``heard`` says what came instead, empty when nothing did."""

    def __init__(self, heard: str) -> None:
        self.heard = heard
        super().__init__(heard or "no answer")


class BreakPort(SerialPort):
    """A serial port that sends a break before all it sends, when its table says ``break = true``."""

    def write(self, data: bytes, timeout_s: float) -> None:
        """Wake the sensors and send.

        Raises PortTrouble.
        """
        if self._options["break"] and self._serial is not None:
            try:
                self._serial.break_condition = True
                time.sleep(BREAK_S)
                self._serial.break_condition = False
                time.sleep(MARK_S)
            except (OSError, termios.error) as error:
                raise self._gone() from error
        super().write(data, timeout_s)


class Talk:
    """One probe's talk on its seat."""

    def __init__(self, seat: Seat, around: Surroundings, timeout_s: float, tries: int) -> None:
        self._seat, self._around, self._timeout_s, self._tries = seat, around, timeout_s, tries
        self._end_s = 0.0
        self._hush_s = QUIET_S
        self._forget()

    def _forget(self) -> None:
        self._lines: deque[bytes] = deque()
        self._splitter = splitter()
        self._raw = b""

    def run(self, steps: Steps[T], wait_s: float) -> tuple[bool, T | None]:
        """Go on with ``steps`` for ``wait_s``; whether they have come to their end, and with what.

        Raises PortTrouble when the port has gone.
        """
        self._end_s = self._around.monotonic() + wait_s
        try:
            next(steps)
        except StopIteration as done:
            return True, done.value
        return False, None

    def turn(self) -> Steps[None]:
        """Wait for the line."""
        while not self._seat.take(max(0.0, self._end_s - self._around.monotonic())):
            yield

    def give_back(self) -> None:
        """Leave the line to the others."""
        self._seat.give_back()

    def rest(self, for_s: float) -> Steps[None]:
        """Wait without the line."""
        until_s = self._around.monotonic() + for_s
        while (now_s := self._around.monotonic()) < until_s:
            self._around.pause(max(0.0, min(until_s, self._end_s) - now_s))
            yield

    def ask(self, command: bytes, parse: Callable[[bytes], T]) -> Steps[T]:
        """Send a command until an answer comes that ``parse`` takes without a ValueError.

        Raises Unanswered when none does, PortTrouble when the port has gone.
        """
        reason = ""
        for attempt in range(self._tries):
            yield from self._hush()
            self._seat.write(command, self._timeout_s)
            until_s = self._around.monotonic() + self._timeout_s
            while line := (yield from self._line(until_s)):
                try:
                    found = parse(answer(line, command))
                except ValueError as error:
                    reason = str(error)
                    continue
                # asked twice, the sensor may answer twice: the second must not be taken for the next question's
                self._hush_s = self._timeout_s if attempt else QUIET_S
                return found
            if not reason and answer(self._raw, command):
                reason = "letters without the end of an answer; check baud, bits and parity of the adapter"
            self._hush_s = AGAIN_S
        self._hush_s = self._timeout_s
        raise Unanswered(reason)

    def service_request(self, address: str, within_s: float) -> Steps[bool]:
        """Listen until the sensor says that it is ready; False when it does not."""
        until_s = self._around.monotonic() + within_s
        while line := (yield from self._line(until_s)):
            if is_service_request(line.lstrip(b"\0"), address):
                return True
        return False

    def _line(self, until_s: float) -> Steps[bytes]:
        """The next line, empty at ``until_s``."""
        while not self._lines:
            now_s = self._around.monotonic()
            if now_s >= until_s:
                return b""
            self._take(self._seat.read(max(0.0, min(until_s, self._end_s) - now_s)))
            if not self._lines and self._around.monotonic() >= self._end_s:
                yield
        return self._lines.popleft()

    def _take(self, data: bytes) -> None:
        self._raw = (self._raw + data)[-MOST_BYTES:]
        self._lines.extend(self._splitter.feed(data))

    def _hush(self) -> Steps[None]:
        """Throw away what nobody asked for until the line is quiet, or has not been for a whole timeout more."""
        start_s = self._around.monotonic()
        until_s, most_s = start_s + self._hush_s, start_s + self._hush_s + self._timeout_s
        while (now_s := self._around.monotonic()) < min(until_s, most_s):
            if self._seat.read(max(0.0, min(until_s, self._end_s) - now_s)):
                until_s = self._around.monotonic() + self._hush_s
            if self._around.monotonic() >= self._end_s:
                yield
        self._forget()


def finished(talk: Talk, steps: Steps[T], monotonic: Callable[[], float], within_s: float) -> T | None:
    """Run ``steps`` to their end in one go; None when that takes longer than ``within_s``.

    Raises PortTrouble when the port has gone.
    """
    end_s = monotonic() + within_s
    while (left_s := end_s - monotonic()) > 0:
        done, found = talk.run(steps, left_s)
        if done:
            return found
    steps.close()
    return None
