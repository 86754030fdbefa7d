"""Probes that say their values as lines of text on a serial port, by themselves or when asked.

Must not do: know what a value means, or acknowledge a line that is not yet on the disk.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, ClassVar

from api.domain.reading import RawReading
from api.domain.tables import Key, Place
from api.domain.tank import Probe
from collector.codecs.lines import LineSplitter
from collector.codecs.times import FORMATS
from collector.drivers.base import EMPTY, Batch, Driver, Surroundings
from collector.drivers.layout import LAYOUT_KEYS, check_layout, field_layout
from collector.drivers.serial_port import PARITIES, SerialPort
from collector.errors import PortReason, PortTrouble
from collector.schedule import Schedule

UNANSWERED_LIMIT = 5
"""Polls in a row without an answer after which the port is opened anew."""
CUT_IN_S = 0.05
"""Bytes sooner than this after opening a real port may be the tail of a line whose head was sent before."""
GIVE_UP_AFTER = 3
"""How often a probe with a memory may repeat a line nobody can read before it is acknowledged all the same."""


class SerialLines(Driver):
    """Lines of text from a serial port."""

    KEYS: ClassVar[tuple[Key, ...]] = (
        Key("port", str, required=True),
        Key("baud", int, 9600, low=50, high=4_000_000),
        Key("parity", str, "none", choices=tuple(PARITIES)),
        Key("bits", int, 8, low=5, high=8),
        Key("stop_bits", float, 1.0, low=1, high=2),
        Key("poll", str),
        Key("line_end", str, "\n"),
        Key("max_line", int, 1000, low=10, high=100_000),
        Key("timeout_s", float, 2.0, low=0.05, high=600),
        Key("acknowledge", str),
        Key("encoding", str, "ascii", choices=("ascii", "utf-8", "latin-1")),
        Key("time_format", str, "rfc3339", choices=FORMATS),
        Key("time_key", str),
        *LAYOUT_KEYS,
    )

    def __init__(self, probe: Probe, options: Mapping[str, Any], around: Surroundings) -> None:
        super().__init__(probe, options, around)
        self._port = SerialPort(probe.id, options, around.folder)
        self._layout = field_layout(probe, options)
        self._splitter = LineSplitter(options["line_end"].encode("latin-1"), options["max_line"])
        self._ask = (options["poll"] or "").encode("latin-1")
        self._thanks = (options["acknowledge"] or "").encode("latin-1")
        self._schedule: Schedule | None = None
        self._opened_s: float | None = None
        self._asked_s: float | None = None
        self._unanswered = 0
        self._repeated: tuple[bytes, int] = (b"", 0)

    @classmethod
    def check(cls, probe: Probe, options: Mapping[str, Any], place: Place) -> None:
        """Check the layout and the texts that are sent.

        Raises RoomFileError.
        """
        check_layout(probe, options, place)
        if options["stop_bits"] not in (1, 1.5, 2):
            raise place.wrong("stop_bits must be 1, 1.5 or 2.", key="stop_bits")
        for key in ("poll", "acknowledge", "line_end"):
            text = options[key]
            if text is None:
                continue
            if not text:
                raise place.wrong(f"{key} is empty.", "Write the text, or leave the key out.", key)
            if re.search(r"\\[rnt]", text):
                raise place.wrong(f"{key} holds a backslash.", r'Use double quotes: "\r\n" ends a line.', key)
            if any(ord(letter) > 255 for letter in text):
                raise place.wrong(f"{key} holds a letter that is no single byte.", r'Write bytes as "\u001b".', key)

    @classmethod
    def port(cls, probe: Probe, options: Mapping[str, Any], folder: Path) -> str:
        """The port itself: two readers would tear each other's lines apart."""
        return str((folder / options["port"]).resolve())

    def open(self) -> None:
        """Open the port; the beat of the polls starts now."""
        self._port.open()
        self._opened_s = self.around.monotonic()
        if self._ask:
            self._schedule = Schedule(self.probe.every_s, self._opened_s)

    def read(self, wait_s: float) -> Batch:
        """Ask when it is time, and bring the lines that came."""
        wait_s = min(wait_s, self._asking(self.around.monotonic()))
        data = self._port.read(wait_s)
        if not data:
            return EMPTY
        if self._opened_s is not None:
            if not (self._ask or self._port.pseudo) and self.around.monotonic() - self._opened_s < CUT_IN_S:
                self._splitter.skip_first()
            self._opened_s = None
        before = (self._splitter.overlong, self._splitter.cut)
        lines = self._splitter.feed(data)
        overlong, cut = self._splitter.overlong - before[0], self._splitter.cut - before[1]
        if lines:
            self._asked_s, self._unanswered = None, 0
        return self._batch(lines, overlong, cut)

    def _asking(self, now_s: float) -> float:
        """Send the poll when it is due; the longest wait that misses neither the next one nor a late answer."""
        if self._schedule is None:
            return 3600.0
        if self._asked_s is not None and now_s - self._asked_s >= self.options["timeout_s"]:
            self._missed()
        if self._schedule.due(now_s):
            if self._asked_s is not None:
                self._missed()
            self._port.write(self._ask, self.options["timeout_s"])
            self._asked_s = now_s
        wait_s = self._schedule.left_s(now_s)
        if self._asked_s is not None:
            wait_s = min(wait_s, max(0.0, self._asked_s + self.options["timeout_s"] - now_s))
        return wait_s

    def _missed(self) -> None:
        self._asked_s = None
        self._unanswered += 1
        if self._unanswered >= UNANSWERED_LIMIT:
            what = f"no answer to {self._unanswered} polls in a row; check power, wiring, baud and the poll text"
            raise PortTrouble(self.probe.id, self._port.name, PortReason.SILENT, what)

    def _batch(self, lines: list[bytes], overlong: int, cut: int) -> Batch:
        readings: list[RawReading] = []
        unreadable, last, acks = overlong + cut, "", 0
        if cut:
            last = "the first line after opening had no beginning"
        if overlong:
            last = f"a line without an end after {self.options['max_line']} bytes"
        for line in lines:
            got, problem = self._line(line)
            readings.extend(got)
            if problem:
                unreadable += 1
                last = f"{line[:80].decode('ascii', 'backslashreplace')}: {problem}"
            if self._thanks and (got or self._seen_often(line)):
                acks += 1
        return Batch(tuple(readings), unreadable, last, acks=acks)

    def _line(self, line: bytes) -> tuple[list[RawReading], str]:
        try:
            text = line.decode(self.options["encoding"])
        except UnicodeDecodeError as error:
            return [], f"byte {line[error.start]:#04x} is not {self.options['encoding']}"
        decoded = self._layout.decode(text)
        time_ms = decoded.time_ms
        if time_ms is None and decoded.values:
            time_ms = self.around.stamper.stamp(self.around.now_ms())
        readings = [RawReading(self.probe.id, q, time_ms or 0, value, unit) for q, unit, value in decoded.values]
        return readings, "; ".join(decoded.problems)

    def _seen_often(self, line: bytes) -> bool:
        same, count = self._repeated
        self._repeated = (line, count + 1 if line == same else 1)
        return self._repeated[1] >= GIVE_UP_AFTER

    def acknowledge(self, batch: Batch) -> None:
        """Thank a probe with a memory, once for each line that is on the disk."""
        for _ in range(batch.acks):
            self._port.write(self._thanks, self.options["timeout_s"])

    def close(self) -> None:
        """Let go of the port."""
        self._port.close()
