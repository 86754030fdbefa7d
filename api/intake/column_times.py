"""Which columns say when: one with whole times, a date's and a clock's, or numbers that count time.

Must not do: choose an order of day and month or a zone (``look_times.py``).
"""

from __future__ import annotations

import re
from pathlib import Path

from api.intake.asked import Asked
from api.intake.column import Column, Columns
from api.intake.errors import FileError
from api.intake.header import Top
from api.intake.label_words import Role
from api.intake.numbers import number
from api.intake.times import EPOCH_S, SERIAL

NOUGHTS = {
    (1899, 12, 30), (1899, 12, 31), (1900, 1, 0), (1900, 1, 1), (30, 12, 1899), (12, 30, 1899), (31, 12, 1899),
    (12, 31, 1899), (0, 1, 1900), (1, 0, 1900), (1, 1, 1900),
}  # fmt: skip
"""How a spreadsheet writes the day of a clock time that has none."""


def find_times(source: Path, top: Top, columns: Columns, asked: Asked) -> None:
    """Find the time, in one column or in a date's and a clock's."""
    whole = [one for one in columns.all if one.holds == "time"]
    if _apart(columns, whole):
        return
    named = [one for one in whole if one.label.role in (Role.TIME, Role.DATE, Role.CLOCK)] or whole
    aware = [one for one in named if one.label.zone or all(part.offset_min is not None for part in one.said)]
    if len(named) > 1:
        named = aware or named
    if len(named) > 1:
        choice = asked.ask(
            "time", "Which column says when each reading was taken?", [(one.name, one.name) for one in named],
            "several columns hold times", suggestion=named[0].name,
        )  # fmt: skip
        named = [one for one in named if one.name == (choice or named[0].name)]
    if named:
        named[0].role = Role.TIME
    else:
        _parted_times(source, top, columns)
    for one in columns.all:
        if one.label.role is Role.OFFSET and one.role is Role.SKIP and one.holds != "nothing":
            one.role = Role.OFFSET
    if len({one.half for column in columns.all if column.role in (Role.TIME, Role.CLOCK) for one in column.said}) > 1:
        asked.note("some clock times have AM or PM and some do not; those without are read by 24 hours")


def _apart(columns: Columns, whole: list[Column]) -> bool:
    """A spreadsheet's dates at midnight beside its clock times on day nought are a date's and a clock's column."""
    noughts = [one for one in whole if all(part.date in NOUGHTS for part in one.said)]
    midnights = [one for one in whole if one not in noughts and all(part.clock_ms == 0 for part in one.said)]
    dates = midnights or [one for one in columns.all if one.holds == "date" and noughts]
    clocks = [one for one in columns.all if one.holds == "clock"] or noughts
    if not dates or not clocks or any(one not in noughts and one not in midnights for one in whole):
        return False
    dates[0].role, clocks[0].role = Role.DATE, Role.CLOCK
    return True


def _parted_times(source: Path, top: Top, columns: Columns) -> None:
    dates = [one for one in columns.all if one.holds == "date"]
    clocks = [one for one in columns.all if one.holds == "clock"]
    numbers = [one for one in columns.all if one.holds == "number"]
    bare = [one for one in numbers if one.label.role in (Role.CLOCK, Role.TIME) and dates]
    if dates and (clocks or bare):
        other = clocks[0] if clocks else bare[0]
        told = [cell.strip() for cell in other.cells if cell.strip()]
        if not clocks and not (
            all(re.fullmatch(r"\d{1,6}", cell) for cell in told) and any(len(one) > 2 for one in told)
        ):
            what = "it stands beside the dates, and its numbers are no clock times for sure"
            raise FileError(str(source), what, "write them as 17:05, or as 1705", top.line, other.name)
        dates[0].role, other.role = Role.DATE, Role.CLOCK
        return
    if dates:
        dates[0].role = Role.TIME
        return
    for one in sorted(numbers, key=lambda one: one.label.role not in (Role.TIME, Role.DATE)):
        how = _scale(one)
        if how:
            one.role, columns.how = Role.TIME, how
            return
    if clocks:
        what = f"column {clocks[0].name!r} has clock times, and no column has their dates"
        raise FileError(str(source), what, "export date and time, or add a date column", top.line)
    raise FileError(
        str(source), f"no column holds times (columns: {', '.join(top.names)[:120]})",
        "export the time of each reading, best as 2024-03-01T17:10:00Z", top.line,
    )  # fmt: skip


def _scale(column: Column) -> str:
    """How numbers that may be times are counted; empty when they are none."""
    values = [value for value in (number(cell)[0] for cell in column.cells) if value == value]
    named = column.label.role in (Role.TIME, Role.DATE)
    for how, low, high in (
        ("epoch_s", *EPOCH_S), ("epoch_ms", EPOCH_S[0] * 1000, EPOCH_S[1] * 1000), ("serial", *SERIAL),
    ):  # fmt: skip
        fit = sum(low <= value <= high for value in values)
        if fit and fit >= len(values) * (0.6 if named else 1.0) and (named or how != "serial"):
            return how
    return ""
