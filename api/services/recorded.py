"""Recorded readings for a rehearsal: long rows as probes' files have them, what ``export`` wrote, or a logger's file.

The first two have a reader of their own beside ``api/intake``, as a rehearsal must hear what the line heard: intake
refuses a unit that nobody knows, where the line keeps it and judges it as not known; it passes over an empty value or
"nan" as a gap, where here the row is told; it takes an odd first row for what stands below a header, and reads times of
one file in one way, ISO 8601 or seconds. Must not do: guess a unit, a zone or a column; a row that cannot be used is
told with its line.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import partial
from math import isfinite
from pathlib import Path

from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.intake.block import RefusedRow
from api.intake.look import NONE
from api.services.recorded_logger import logger_parts
from api.services.recorded_parts import Part, joined, parts_of, quick_parts
from api.services.recording import Recording

LONG = ("probe", "quantity", "time", "value", "unit")
EXPORTED = ("time", "probe", "quantity", "raw", "raw_unit")
QUANTITIES = {str(one): one for one in Quantity}
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MOST_TOLD = 20
EARLIEST_S, LATEST_S = 946_684_800.0, 7_258_118_400.0


@dataclass
class Recorded:
    """Readings of some files by channel; ``refused`` as (file, line, why) for the first of them."""

    recorded: list[Recording] = field(default_factory=list)
    refused: list[tuple[str, int, str]] = field(default_factory=list)
    refusals: int = 0

    @property
    def count(self) -> int:
        """How many readings, each time of a channel once."""
        return sum(len(one.times_ms) for one in self.recorded)

    @property
    def span_ms(self) -> tuple[int, int]:
        """Times of the first and of the last. [ms]"""
        first = min(int(one.times_ms[0]) for one in self.recorded)
        return first, max(int(one.times_ms[-1]) for one in self.recorded)


def read_recorded(files: Sequence[Path], answers: Mapping[str, str] = NONE) -> Recorded:
    """Read files whole; ``answers``: to what loggers' files leave open.

    Raises InputError for a file that cannot be read or whose columns are not known, LeftOpen for one that asks.
    """
    out = Recorded()
    parts: list[Part] = []
    for number, path in enumerate(files):
        try:
            columns = _header(path)
        except InputError as error:
            parts += logger_parts(path, number, partial(_refuse, out, path), error, answers)
            continue
        # a file with anything odd in it is read once more, row by row, so that each odd row is told with its line
        quick = quick_parts(path, *columns, number)
        parts += quick if quick is not None else parts_of(_file(path, out), number)
    out.recorded = joined(parts)
    if not out.recorded:
        first = "; ".join(f"line {line}: {why}" for _, line, why in out.refused[:3])
        raise InputError(f"no reading in {', '.join(map(str, files)) or 'no file'}{f' ({first})' if first else ''}")
    return out


def _refuse(out: Recorded, path: Path, one: RefusedRow) -> None:
    """Tell a row of a logger's file that was not taken."""
    out.refusals += 1
    if len(out.refused) < MOST_TOLD:
        out.refused.append((str(path), one.line, f"{one.column}: {one.reason}" if one.column else one.reason))


def _header(path: Path) -> tuple[tuple[int, ...], int | None]:
    """Which columns a file has, see ``_columns``."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as text:
            return _columns(next(csv.reader(text), []), path)
    except (csv.Error, UnicodeDecodeError) as error:
        raise InputError(f"{path}, line 1: this is no CSV in UTF-8: {error}") from error
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror or error}") from error


def _file(path: Path, out: Recorded) -> Iterator[RawReading]:
    try:
        with path.open(encoding="utf-8-sig", newline="") as text:
            rows = csv.reader(text)
            try:
                columns, derived = _columns(next(rows, []), path)
                for row in rows:
                    if not row:
                        continue
                    try:
                        if len(row) <= max(*columns, derived or 0):
                            raise ValueError(f"{len(row)} columns are too few")
                        if derived is None or row[derived] != "true":
                            yield _reading(row, columns)
                    except (ValueError, OverflowError, InputError) as error:
                        out.refusals += 1
                        if len(out.refused) < MOST_TOLD:
                            out.refused.append((str(path), rows.line_num, str(error)))
            except (csv.Error, UnicodeDecodeError) as error:
                raise InputError(f"{path}, line {rows.line_num + 1}: this is no CSV in UTF-8: {error}") from error
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror or error}") from error


def _columns(header: Sequence[str], path: Path) -> tuple[tuple[int, ...], int | None]:
    """Places of probe, quantity, time, value and unit, and of the mark of what was derived."""
    names = {name.strip().casefold(): at for at, name in enumerate(header)}
    if len(names) < len(header):
        raise InputError(f"{path}, line 1: a column is named twice in {','.join(header)[:80]!r}")
    if all(name in names for name in EXPORTED):
        wanted = ("probe", "quantity", "time", "raw", "raw_unit")
        return tuple(names[name] for name in wanted), names.get("derived")
    if all(name in names for name in LONG):
        return tuple(names[name] for name in LONG), None
    raise InputError(
        f"{path}, line 1: it must name the columns {', '.join(LONG)}, or be one that intermolt export wrote;"
        f" it reads {','.join(header)[:80]!r}"
    )


def _reading(row: Sequence[str], columns: Sequence[int]) -> RawReading:
    probe, quantity, time, value, unit = (row[at].strip().lstrip("'") for at in columns)
    if quantity not in QUANTITIES:
        raise ValueError(f"{quantity[:40]!r} is none of our quantities ({', '.join(QUANTITIES)})")
    if not probe:
        raise ValueError("no probe is named")
    number = float(value)
    if not isfinite(number):
        raise ValueError(f"{value[:40]!r} is no number")
    return RawReading(probe, QUANTITIES[quantity], _time_ms(time), number, unit)


def _time_ms(text: str) -> int:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return _epoch_ms(float(text), text)
    if moment.tzinfo is None:
        raise ValueError(f"time {text[:40]!r} names no zone; write Z or +02:00 behind it")
    return (moment - EPOCH) // timedelta(milliseconds=1)


def _epoch_ms(number: float, text: str) -> int:
    """Seconds since 1970; what could only be milliseconds is refused, not guessed."""
    if not EARLIEST_S <= number <= LATEST_S:
        raise ValueError(
            f"time {text[:40]!r} is not between 2000 and 2200 in seconds since 1970; milliseconds are not taken"
        )
    return round(number * 1000)
