"""Readings that another program writes into a CSV file, followed as it grows or read once from end to end.

Must not do: change the file, or move its bookmark other than with the rows before it.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, ClassVar

from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.tables import Key, Place
from api.domain.tank import Probe, Value
from collector.codecs.fields import FieldLayout
from collector.codecs.numbers import number
from collector.codecs.times import FORMATS, any_time_ms
from collector.drivers.base import EMPTY, Batch, Driver, Surroundings
from collector.drivers.csv_file import CsvFile
from collector.drivers.layout import LAYOUT_KEYS, check_layout, field_layout
from collector.errors import PortReason, PortTrouble

LONG = ("probe", "quantity", "time", "value", "unit")
CELL_END = "\x1f"
"""Joins cells again after quotes are undone; the unit separator of ASCII, which no cell holds."""
TRIAL_BYTES = 1 << 16
"""What is looked at of a long file when only its newest rows are wanted."""
QUANTITIES = {str(quantity): quantity for quantity in Quantity}


class CsvRows(Driver):
    """Rows of a CSV file: ``wide`` (one column a value) or ``long`` (probe, quantity, time, value, unit)."""

    KEYS: ClassVar[tuple[Key, ...]] = (
        Key("path", str, required=True),
        Key("follow", bool, True),
        Key("header", bool, True),
        Key("layout", str, "wide", choices=("wide", "long")),
        Key("time_column", str),
        Key("time_format", str, "rfc3339", choices=FORMATS),
        *(key for key in LAYOUT_KEYS if key.name != "pattern"),
    )
    SOURCE_KEEPS = True

    def __init__(self, probe: Probe, options: Mapping[str, Any], around: Surroundings) -> None:
        super().__init__(probe, options, around)
        self.path = around.folder / options["path"]
        self._file = CsvFile(self.path, options["follow"])
        self._source = f"csv_rows {probe.id} {self.path.resolve()}"
        self._columns: dict[str, int] | None = None
        self._layout: FieldLayout | None = None

    @classmethod
    def check(cls, probe: Probe, options: Mapping[str, Any], place: Place) -> None:
        """Check that columns asked for by name can be found.

        Raises RoomFileError.
        """
        check_layout(probe, options, place)
        named = options["time_column"] or any(value.key for value in probe.values)
        if named and not options["header"]:
            raise place.wrong("header = false, yet a column is asked for by name.", "Use field numbers.", "header")
        if options["time_column"] and options["time_field"]:
            raise place.wrong("has time_column and time_field.", "Keep one of them.", "time_field")

    def open(self) -> None:
        """Open the file where the last committed row left off."""
        try:
            self._file.open(self.around.bookmark(self._source))
            if self.around.trial:
                self._file.to_the_last(TRIAL_BYTES)
            if not self.options["header"]:
                self._layout = self._placed({})
        except OSError as error:
            raise self._trouble(error) from error

    def read(self, wait_s: float) -> Batch:
        """The rows that were written since."""
        try:
            if self._columns is None and self.options["header"] and not self._take_header():
                self.around.pause(wait_s)
                return EMPTY
            before = self._file.mark
            chunk = self._file.chunk()
        except OSError as error:
            raise self._trouble(error) from error
        lines = chunk.lines
        if chunk.start == 0 and self.options["header"]:
            if lines:
                self._header(lines[0])
                lines = lines[1:]
            else:
                self._columns = None
        readings, unreadable, last = self._rows(lines)
        unreadable += chunk.broken
        if self._file.mark == before and not chunk.end:
            self.around.pause(wait_s)
            return EMPTY
        last = last or ("a row that was cut short or never ended" if chunk.broken else "")
        return Batch(readings, unreadable, last, bookmark=(self._source, self._file.mark), last=chunk.end)

    def _rows(self, lines: list[bytes]) -> tuple[tuple[RawReading, ...], int, str]:
        readings: list[RawReading] = []
        unreadable, last = 0, ""
        take = self._long_row if self.options["layout"] == "long" else self._wide_row
        for line in lines:
            try:
                text = line.decode("utf-8").rstrip("\r")
                if not text.strip():
                    continue
                problem = take(text, readings)
            except (ValueError, InputError) as error:
                problem = str(error)
            if problem:
                unreadable += 1
                last = f"{line[:80].decode('utf-8', 'backslashreplace').strip()}: {problem}"
        return tuple(readings), unreadable, last

    def _cells(self, text: str) -> list[str]:
        separator = self.options["separator"]
        if '"' not in text or len(separator) > 1:
            return [cell.strip() for cell in text.split(separator)]
        try:
            return [cell.strip() for cell in next(csv.reader((text,), delimiter=separator, strict=True))]
        except csv.Error as error:
            raise ValueError(str(error)) from error

    def _long_row(self, text: str, readings: list[RawReading]) -> str:
        cells, columns = self._cells(text), self._columns or {}
        if len(cells) < len(columns):
            return f"has {len(cells)} columns, not {len(columns)}"
        probe, name, time, value, unit = [cells[columns[column]] for column in LONG]
        quantity = QUANTITIES.get(name)
        if quantity is None:
            return f"{name[:40]!r} is no quantity; known: {', '.join(QUANTITIES)}"
        readings.append(RawReading(probe, quantity, any_time_ms(time), number(value, self.options["decimal"]), unit))
        return ""

    def _wide_row(self, text: str, readings: list[RawReading]) -> str:
        if self._layout is None:
            return "comes before any header"
        decoded = self._layout.decode(CELL_END.join(self._cells(text)))
        time_ms = decoded.time_ms
        if time_ms is None and decoded.values:
            time_ms = self.around.stamper.stamp(self.around.now_ms())
        readings.extend(RawReading(self.probe.id, q, time_ms or 0, value, unit) for q, unit, value in decoded.values)
        return "; ".join(decoded.problems)

    def _take_header(self) -> bool:
        line = self._file.first_line()
        if line is not None:
            self._header(line)
        return line is not None

    def _header(self, line: bytes) -> None:
        names = self._cells(line.decode("utf-8-sig", "replace").rstrip("\r"))
        columns = {name: place for place, name in reversed(list(enumerate(names)))}
        wanted: Sequence[str] = (
            LONG if self.options["layout"] == "long" else [v.key for v in self.probe.values if v.key is not None]
        )
        if self.options["time_column"]:
            wanted = [*wanted, self.options["time_column"]]
        for name in wanted:
            if name not in columns:
                have = ", ".join(names)[:200]
                raise InputError(f"{self.path}, line 1: there is no column {name!r}; the header has: {have}")
        self._columns = columns
        self._layout = self._placed(columns)

    def _placed(self, columns: Mapping[str, int]) -> FieldLayout:
        """The layout with every name replaced by its column's number."""
        values = [
            value if value.key is None else Value(value.quantity, value.unit, columns[value.key] + 1)
            for value in self.probe.values
        ]
        named = self.options["time_column"]
        time_field = columns[named] + 1 if named else self.options["time_field"]
        found = field_layout(self.probe, self.options)
        return replace(found, values=values, separator=CELL_END, time_field=time_field)

    def _trouble(self, error: OSError) -> PortTrouble:
        name = str(self.path)
        if isinstance(error, FileNotFoundError):
            return PortTrouble(self.probe.id, name, PortReason.MISSING, "there is no such file")
        if isinstance(error, PermissionError):
            return PortTrouble(self.probe.id, name, PortReason.REFUSED, "not allowed to read it")
        return PortTrouble(self.probe.id, name, PortReason.STUCK, f"cannot be read: {error.strerror or error}")

    def acknowledge(self, batch: Batch) -> None:
        """Nothing to say: the file keeps its rows, and the bookmark went with them into the spool."""

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()
