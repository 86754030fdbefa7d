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
from collector.codecs.echo import could_be_a_number
from collector.codecs.names import LineName
from collector.codecs.times import FORMATS
from collector.drivers.base import EMPTY, Batch, Driver, Surroundings
from collector.drivers.layout import LAYOUT_KEYS, check_layout, field_layout
from collector.drivers.polled_lines import PolledLines
from collector.drivers.serial_port import PARITIES
from collector.drivers.stream_port import Heard
from collector.drivers.streamed_lines import StreamedLines

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
        Key("match", str),
        Key("match_field", int, low=1, high=1000),
        Key("match_key", str),
        Key("echo", bool),
        *LAYOUT_KEYS,
    )

    SHARING = (
        'Give each its own, or say whose a line is: match = "..." or poll = "...", or a field or key for each value.'
    )

    def __init__(self, probe: Probe, options: Mapping[str, Any], around: Surroundings) -> None:
        super().__init__(probe, options, around)
        self._layout = field_layout(probe, options)
        self._name = None
        if options["match"] is not None:
            field = options["match_field"] or 1
            self._name = LineName(options["match"], self._layout, field, options["match_key"])
        self._thanks = (options["acknowledge"] or "").encode("latin-1")
        self._repeated: tuple[bytes, int] = (b"", 0)
        _, form = self.shared(options, around.folder)
        self._way: PolledLines | StreamedLines
        if options["poll"]:
            self._way = PolledLines(probe, options, around, form)
        else:
            self._way = StreamedLines(probe, options, around, form, self._wants)

    @classmethod
    def check(cls, probe: Probe, options: Mapping[str, Any], place: Place) -> None:
        """Check the layout and the texts that are sent.

        Raises RoomFileError.
        """
        check_layout(probe, options, place)
        _check_match(probe, options, place)
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
        poll = (options["poll"] or "").encode("latin-1")
        if options["echo"] is None and poll and could_be_a_number(poll):
            what = "poll ends like a number: if the line gives it back, it would be read as part of the answer."
            raise place.wrong(what, "Say echo = true or echo = false.", "poll")

    @classmethod
    def port(cls, probe: Probe, options: Mapping[str, Any], folder: Path) -> str:
        """The port itself when a line does not tell whose it is, or when the probe is thanked for its lines."""
        told = options["match"] is not None or options["poll"] is not None or _placed(probe, options)
        return "" if told and options["acknowledge"] is None else str((folder / options["port"]).resolve())

    @classmethod
    def shared(cls, options: Mapping[str, Any], folder: Path) -> tuple[str, str]:
        """The port that several probes may name, and what all of them must agree on."""
        way = "asked" if options["poll"] else "each line names its probe" if options["match"] else "each line for all"
        form = "serial_lines ({way}) {baud} baud {bits} bits {parity} {stop_bits:g} stop, lines end {line_end!r}"
        return str((folder / options["port"]).resolve()), form.format(way=way, **options)

    @classmethod
    def told_apart_by(cls, probe: Probe, options: Mapping[str, Any]) -> str:
        """Its name in a line, or its poll, or where its values stand."""
        if options["match"] is not None:
            return f"match = {options['match']!r}"
        places = "values at " + ", ".join(str(value.key or value.field or options["pattern"]) for value in probe.values)
        return f"poll = {options['poll']!r} and {places}" if options["poll"] else places

    def open(self) -> None:
        """Open the port, or join the probes that have it open."""
        self._way.open()

    def read(self, wait_s: float) -> Batch:
        """Ask when it is time, and bring the lines that came."""
        heard = self._way.hear(wait_s)
        return self._batch(heard) if heard else EMPTY

    def _wants(self, line: bytes) -> bool:
        """Whether a line is this probe's; one that is no text names nobody, and is counted as such."""
        if self._name is None:
            return True
        try:
            return self._name.is_in(line.decode(self.options["encoding"]))
        except UnicodeDecodeError:
            return False

    def _batch(self, heard: list[Heard]) -> Batch:
        readings: list[RawReading] = []
        unreadable, last, acks = 0, "", 0
        for one in heard:
            got, problem = self._one(one)
            if got:
                self._way.answered()
            readings.extend(got)
            if problem:
                unreadable += 1
                shown = one.line[:80].decode("ascii", "backslashreplace")
                last = f"{shown}: {problem}" if shown else problem
            if self._thanks and one.line and (got or self._seen_often(one.line)):
                acks += 1
        return Batch(tuple(readings), unreadable, last, acks=acks)

    def _one(self, heard: Heard) -> tuple[list[RawReading], str]:
        if heard.problem:
            return [], heard.problem
        got, problem = self._line(heard.line, heard.at_ms)
        if problem and not got and heard.instead is not None:
            return self._line(heard.instead, heard.at_ms)
        return got, problem

    def _line(self, line: bytes, at_ms: int) -> tuple[list[RawReading], str]:
        try:
            text = line.decode(self.options["encoding"])
        except UnicodeDecodeError as error:
            return [], f"byte {line[error.start]:#04x} is not {self.options['encoding']}"
        if self._name is not None and not self._name.is_in(text):
            return [], f"does not name {self._name.name!r}"
        decoded = self._layout.decode(text)
        time_ms = decoded.time_ms
        if time_ms is None and decoded.values:
            time_ms = self.around.stamper.stamp(at_ms)
        readings = [RawReading(self.probe.id, q, time_ms or 0, value, unit) for q, unit, value in decoded.values]
        return readings, "; ".join(decoded.problems)

    def _seen_often(self, line: bytes) -> bool:
        same, count = self._repeated
        self._repeated = (line, count + 1 if line == same else 1)
        return self._repeated[1] >= GIVE_UP_AFTER

    def acknowledge(self, batch: Batch) -> None:
        """Thank a probe with a memory, once for each line that is on the disk."""
        for _ in range(batch.acks):
            self._way.write(self._thanks, self.options["timeout_s"])

    def close(self) -> None:
        """Leave the port."""
        self._way.close()


def _placed(probe: Probe, options: Mapping[str, Any]) -> bool:
    """Whether it is written for each value where in a line it stands."""
    return options["pattern"] is not None or all(value.field or value.key for value in probe.values)


def _check_match(probe: Probe, options: Mapping[str, Any], place: Place) -> None:
    match, field, key = options["match"], options["match_field"], options["match_key"]
    if match is None:
        for name in ("match_field", "match_key"):
            if options[name] is not None:
                raise place.wrong(f"{name} says where a name stands, but not which.", 'Add match = "...".', name)
        return
    if not match.strip() or match != match.strip():
        raise place.wrong("match is empty or has spaces around it.", 'Write the name alone: match = "T3".', "match")
    if field is not None and key is not None:
        raise place.wrong("has both match_field and match_key.", "Keep one of them.", "match_key")
    if key is None and not _placed(probe, options):
        todo = "Say for each value where it stands, for example field = 2 behind a name in field 1."
        raise place.wrong("match takes a field of the line.", todo, "match")
    if key is None and any(value.field == (field or 1) for value in probe.values):
        raise place.wrong("a value stands in the field of the name.", "Give it another field.", "match")
