"""Lines of probes that speak when they are asked; several probes may take turns on one port.

Must not do: understand a line, or take for an answer what came unasked or after its time.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from pathlib import Path
from typing import Any

from api.domain.tank import Probe
from collector.codecs.echo import answers
from collector.codecs.lines import LineSplitter
from collector.drivers.base import Surroundings
from collector.drivers.bus import Seat, join
from collector.drivers.serial_port import SerialPort
from collector.drivers.stream_port import Heard
from collector.errors import PortReason, PortTrouble
from collector.schedule import Schedule

UNANSWERED_LIMIT = 5
"""Polls in a row without an answer after which the port is opened anew."""
GAP_S = 0.05
"""An answer is over when nothing has come for so long; only then another probe is asked."""
UNASKED = "came without being asked for, or too late; if the probe is slow, raise timeout_s"
MOST_UNASKED_S = 0.5


class _State(Enum):
    IDLE = 0
    ASKED = 1
    ANSWERED = 2
    LATE = 3


class PolledLines:
    """One probe's way to its answers. It keeps the turn from its poll until the answer is over, or was given up."""

    def __init__(self, probe: Probe, options: Mapping[str, Any], around: Surroundings, form: str) -> None:
        self._probe, self._options, self._around, self._form = probe, options, around, form
        self.name = str(around.folder / options["port"])
        self._poll: bytes = options["poll"].encode("latin-1")
        self._window_s = min(options["timeout_s"], probe.every_s)
        self._seat: Seat | None = None
        self._schedule: Schedule | None = None
        self._splitter = self._fresh()
        self._state = _State.IDLE
        self._asked_s = 0.0
        self._heard_any = self._first = False
        self._unanswered = 0

    def _fresh(self) -> LineSplitter:
        return LineSplitter(self._options["line_end"].encode("latin-1"), self._options["max_line"])

    def open(self) -> None:
        """Open the port, or join the probes that have it open; the beat of the polls starts now.

        Raises PortTrouble.
        """
        port = SerialPort(self._probe.id, self._options, self._around.folder)
        self._seat = join(self._probe.id, port, str(Path(self.name).resolve()), self._form)
        self._schedule = Schedule(self._probe.every_s, self._around.monotonic())

    def hear(self, wait_s: float) -> list[Heard]:
        """Ask when it is time, and bring what came, waiting no longer than ``wait_s``.

        Raises PortTrouble when the port has gone, or after some polls in a row without an answer.
        """
        seat, schedule = self._opened()
        if self._state is _State.IDLE:
            return self._idle(seat, schedule, wait_s)
        left_s = self._asked_s + self._window_s - self._around.monotonic()
        if self._state is _State.LATE:
            left_s += self._window_s
        if left_s <= 0:
            self._over(seat)
            return []
        settling = self._state is _State.ANSWERED
        data = seat.read(min(GAP_S if settling else wait_s, left_s))
        if settling and not data:
            self._give_back(seat)
        return self._lines(seat, data)

    def _idle(self, seat: Seat, schedule: Schedule, wait_s: float) -> list[Heard]:
        left_s = schedule.left_s(self._around.monotonic())
        if left_s > 0:
            found: list[Heard] = []
            if seat.take(0.0):
                try:
                    found, _ = self._unasked(seat, 0.0)  # also notices that the port has gone, before the next poll
                finally:
                    seat.give_back(asked=False)
            if not found:
                self._around.pause(min(left_s, wait_s))
            return found
        if not seat.take(wait_s):
            return []
        try:
            found, quiet = self._unasked(seat, GAP_S)
            if not quiet:
                seat.give_back(asked=False)  # asking into what is being said would mix an answer with it
                return found
            schedule.due(self._around.monotonic())
            self._splitter = self._fresh()
            seat.write(self._poll, self._options["timeout_s"])
        except PortTrouble:
            seat.give_back()
            raise
        self._asked_s, self._state = self._around.monotonic(), _State.ASKED
        self._first, self._heard_any = True, False
        return found

    def _unasked(self, seat: Seat, gap_s: float) -> tuple[list[Heard], bool]:
        """What came while nobody had been asked, as far as it is whole lines; and whether it is over."""
        found: list[Heard] = []
        end_s = self._around.monotonic() + MOST_UNASKED_S
        data = seat.read(0.0)
        while data:
            found += self._split(data, UNASKED)
            if self._around.monotonic() >= end_s:
                return found, False
            data = seat.read(gap_s)
        return found, True

    def _split(self, data: bytes, problem: str = "") -> list[Heard]:
        before = self._splitter.overlong
        now_ms = self._around.now_ms()
        found = [Heard(line, now_ms, problem) for line in self._splitter.feed(data)]
        long = f"a line without an end after {self._splitter.max_bytes} bytes"
        return found + [Heard(b"", now_ms, long)] * (self._splitter.overlong - before)

    def _lines(self, seat: Seat, data: bytes) -> list[Heard]:
        late = self._state is _State.LATE
        found = self._split(data, UNASKED if late else "")
        if late and found:
            self._give_back(seat)
        elif found and self._first:
            found = self._without_echo(found)
        if found:
            self._heard_any, self._unanswered = True, 0
        return found

    def _without_echo(self, found: list[Heard]) -> list[Heard]:
        first, *rest = found
        if first.problem:
            return found
        try:
            tries = answers(first.line, self._poll, self._options["echo"])
        except ValueError as error:
            self._first = False
            return [Heard(first.line, first.at_ms, str(error)), *rest]
        self._first = False
        if not tries:
            return rest
        return [Heard(tries[0], first.at_ms, instead=tries[1] if len(tries) > 1 else None), *rest]

    def answered(self) -> None:
        """One of the lines was an answer: the turn ends when no more of it comes."""
        if self._state is _State.ASKED:
            self._state = _State.ANSWERED

    def _over(self, seat: Seat) -> None:
        """The time for an answer, or for a late one, has passed."""
        if self._state is not _State.ASKED or self._heard_any:
            self._give_back(seat)
            return
        self._unanswered += 1
        self._state = _State.LATE
        if self._options["match"] is not None:
            self._give_back(seat)  # a late answer would carry its own name
        if self._unanswered >= UNANSWERED_LIMIT:
            what = f"no answer to {self._unanswered} polls in a row; check power, wiring, baud and the poll text"
            raise PortTrouble(self._probe.id, self.name, PortReason.SILENT, what)

    def _give_back(self, seat: Seat) -> None:
        self._state = _State.IDLE
        seat.give_back()

    def write(self, data: bytes, timeout_s: float) -> None:
        """Say something to the probe.

        Raises PortTrouble when the port has gone or takes nothing.
        """
        seat, _ = self._opened()
        mine = self._state is not _State.IDLE
        if not seat.take(timeout_s):
            raise PortTrouble(self._probe.id, self.name, PortReason.STUCK, f"was not free for {timeout_s:g} s")
        try:
            seat.write(data, timeout_s)
        finally:
            if not mine:
                seat.give_back()

    def _opened(self) -> tuple[Seat, Schedule]:
        if self._seat is None or self._schedule is None:
            raise PortTrouble(self._probe.id, self.name, PortReason.UNPLUGGED, "it is not open")
        return self._seat, self._schedule

    def close(self) -> None:
        """Leave the port."""
        seat, self._seat = self._seat, None
        self._state = _State.IDLE
        if seat is not None:
            seat.leave()
