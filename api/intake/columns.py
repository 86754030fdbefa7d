"""What each column becomes: by its name, by what its first cells hold, and by what was answered.

Must not do: settle units, zones or orders (``look_units.py``, ``look_times.py``).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from pathlib import Path

from api.domain.quantity import MEANING, Quantity
from api.intake import labels
from api.intake.asked import Asked
from api.intake.errors import FileError
from api.intake.header import Top, is_number
from api.intake.label_words import PROBE_ORDER, Role
from api.intake.labels import Label, plain
from api.intake.numbers import MISSING, number
from api.intake.time_text import Said, said
from api.intake.times import EPOCH_S, SERIAL

EXPORTED = ("time", "probe", "quantity", "raw", "raw_unit")
"""The columns by which a file that ``intermolt export`` wrote is known."""
QUANTITIES = tuple((str(one), meaning.label) for one, meaning in MEANING.items())
SKIP = ("skip", "leave it out")


@dataclass(slots=True)
class Column:
    """One column while it is understood; ``holds`` is time, date, clock, number, text or nothing."""

    name: str
    label: Label
    holds: str
    cells: tuple[str, ...]
    said: tuple[Said, ...] = ()
    role: Role = Role.SKIP
    quantity: str = ""
    unit: str = ""
    probe: str = ""
    became: str = ""


@dataclass(slots=True)
class Columns:
    """All columns of a file; ``how`` is how numbers in the time column are read."""

    all: list[Column]
    how: str = "text"
    spare: list[Column] = field(default_factory=list)

    def of(self, role: Role) -> Column | None:
        """The first with this role."""
        return next((one for one in self.all if one.role is role), None)

    def the(self, *roles: Role) -> Column:
        """The first with one of these roles, which ``decide`` has found."""
        return next(one for role in roles for one in self.all if one.role is role)

    @property
    def readings(self) -> list[Column]:
        """Those that hold readings, by quantity or as values of a long table."""
        return [one for one in self.all if one.role in (Role.READING, Role.VALUE)]


def _holds(cells: tuple[str, ...], label: Label) -> tuple[str, tuple[Said, ...]]:
    """What a column's first cells hold; some odd ones change nothing, fewer where the header says nothing."""
    named = label.role in (Role.TIME, Role.DATE, Role.CLOCK)
    told = [cell for cell in cells if cell.strip().casefold() not in MISSING]
    if not told:
        return "nothing", ()
    numbers = sum(is_number(cell) or number(cell)[1] != "" for cell in told)
    times = [one for one in map(said, told) if one is not None]
    if len(times) > (0.3 if named else 0.6) * len(told):
        dated = sum(one.date is not None for one in times)
        timed = sum(one.clock_ms is not None for one in times)
        kind = "time" if min(dated, timed) > 0.3 * len(times) else "date" if dated >= timed else "clock"
        return kind, tuple(times)
    enough = numbers > 0 if label.role is Role.READING else numbers > 0.5 * len(told)
    return ("number" if enough else "text"), ()


def decide(source: Path, top: Top, asked: Asked) -> Columns:
    """The columns with their roles. Raises FileError when none holds times, or none holds readings."""
    found = []
    labelled = [
        labels.read(name.rpartition(" (column ")[0] or name, unit)
        for name, unit in zip(top.names, top.units, strict=True)
    ]
    lettered = _lettered(labelled)
    for at, (name, label) in enumerate(zip(top.names, labelled, strict=True)):
        cells = tuple(row.cells[at] if at < len(row.cells) else "" for row in top.data)
        holds, times = _holds(cells, label)
        if label.quantity in lettered:
            label = _as_letter(name, label)
        found.append(Column(name, label, holds, cells, times))
    columns = Columns(found)
    if all(name in {plain(one.name).replace(" ", "_") for one in found} for name in EXPORTED):
        _exported(columns, asked)
    else:
        _times(source, top, columns, asked)
        _rows_that_say(columns, asked)
        _readings(source, top, columns, asked)
        _unit_beside(columns)
    return columns


def _lettered(found: list[Label]) -> set[Quantity | None]:
    """Quantities whose columns are told apart by single letters (Temp A, Temp B, Temp C), so that C is no unit."""
    return {
        one.quantity for one in found
        if one.role is Role.READING and not one.unit and len(one.probe) == 1 and one.probe.isalpha()
    }  # fmt: skip


def _as_letter(name: str, label: Label) -> Label:
    last = name.replace("_", " ").split()[-1]
    return replace(label, unit="", probe=last) if len(last) == 1 and last.isalpha() else label


def _exported(columns: Columns, asked: Asked) -> None:
    roles = dict(zip(EXPORTED, (Role.TIME, Role.PROBE, Role.QUANTITY, Role.VALUE, Role.UNIT), strict=True))
    roles["derived"] = Role.DERIVED
    for one in columns.all:
        one.role = roles.get(plain(one.name).replace(" ", "_"), Role.SKIP)
    asked.note("it is a file that intermolt export wrote: raw values are taken, derived ones are made anew")


def _times(source: Path, top: Top, columns: Columns, asked: Asked) -> None:
    """Find the time, in one column or in a date's and a clock's."""
    whole = [one for one in columns.all if one.holds == "time"]
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


def _parted_times(source: Path, top: Top, columns: Columns) -> None:
    dates = [one for one in columns.all if one.holds == "date"]
    clocks = [one for one in columns.all if one.holds == "clock"]
    numbers = [one for one in columns.all if one.holds == "number"]
    bare = [one for one in numbers if one.label.role in (Role.CLOCK, Role.TIME) and dates]
    if dates and (clocks or bare):
        other = clocks[0] if clocks else bare[0]
        if not clocks and not all(
            re.fullmatch(r"\d{1,4}|\d{5,6}", cell.strip()) for cell in other.cells if cell.strip()
        ):
            what = "it stands beside the dates and holds no clock times"
            todo = "write them as 17:05, or as 1705"
            raise FileError(str(source), what, todo, top.line, other.name)
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


def _rows_that_say(columns: Columns, asked: Asked) -> None:
    """Columns whose cells say probe, quantity, unit; and the value of a long table."""
    free = [one for one in columns.all if one.role is Role.SKIP and one.holds != "nothing"]
    named = [one for one in free if one.label.role is Role.PROBE]
    named.sort(
        key=lambda one: PROBE_ORDER.index(labels.plain(one.name)) if labels.plain(one.name) in PROBE_ORDER else 99
    )
    if len(named) > 1:
        choice = asked.ask(
            "probe_column", "Which column names the probe?",
            [(one.name, f"{one.name} ({', '.join(dict.fromkeys(one.cells[:50]))[:60]})") for one in named],
            "several columns could name it", suggestion=named[0].name, must=False,
        )  # fmt: skip
        named = [one for one in named if one.name == choice] or named
    if named:
        named[0].role = Role.PROBE
    quantity = next((one for one in free if one.label.role is Role.QUANTITY and one.holds == "text"), None)
    value = next((one for one in free if one.label.role is Role.VALUE and one.holds == "number"), None)
    unit = next((one for one in free if one.label.role is Role.UNIT and one.holds in ("text", "number")), None)
    if value is None or (quantity is None and any(one.label.role is Role.READING for one in free)):
        return
    value.role = Role.VALUE
    if quantity is not None:
        quantity.role = Role.QUANTITY
    else:
        value.quantity = asked.ask(
            "quantity", f"What does column {value.name!r} measure?", QUANTITIES, "no column says it",
            also=(f"quantity:{value.name}",),
        ) or ""  # fmt: skip
    if unit is not None:
        unit.role = Role.UNIT


def _readings(source: Path, top: Top, columns: Columns, asked: Asked) -> None:
    """Columns of one quantity each; what is not known is asked, and left out unless it is all there is."""
    if columns.of(Role.VALUE) is not None:
        return
    free = [one for one in columns.all if one.role is Role.SKIP and one.holds in ("number", "nothing")]
    known = [one for one in free if one.label.role is Role.READING and one.label.quantity is not None]
    other = [one for one in free if one not in known and one.label.role is None and one.holds == "number"]
    for one in known:
        choice = asked.answer(f"quantity:{one.name}")
        one.role, one.quantity, one.unit = Role.READING, str(one.label.quantity), one.label.unit
        one.probe = one.label.probe
        if choice is not None and choice != one.quantity:
            _told(one, asked, choice)
    if not known and not other:
        raise FileError(
            str(source), f"no column holds numbers beside the time (columns: {', '.join(top.names)[:120]})",
            "export the readings too", top.line,
        )  # fmt: skip
    whole = not known and len(other) > 1 and asked.answer(*(f"quantity:{one.name}" for one in other)) is None
    for one in other:
        key = "quantity" if whole else f"quantity:{one.name}"
        words = (
            "the columns " + ", ".join(repr(column.name) for column in other[:6]) if whole else f"column {one.name!r}"
        )
        choice = asked.ask(
            key, f"What {'do' if whole else 'does'} {words} measure?", (*QUANTITIES, SKIP),
            one.label.doubt or "the header does not say it", suggestion="skip" if known else None,
            must=not known and (whole or asked.answer(*(f"quantity:{o.name}" for o in other)) is None),
            also=("quantity",) if not known else (),
        )  # fmt: skip
        if choice and choice != "skip":
            _told(one, asked, choice)
    columns.spare = [one for one in other if one.role is Role.SKIP]


def _unit_beside(columns: Columns) -> None:
    """A column of units beside the only reading column says that column's units, row by row."""
    unit = next((one for one in columns.all if one.label.role is Role.UNIT and one.holds == "text"), None)
    if unit is None or unit.role is not Role.SKIP or len(columns.readings) != 1 or columns.readings[0].unit:
        return
    columns.readings[0].role, columns.readings[0].probe, unit.role = Role.VALUE, "", Role.UNIT


def _told(column: Column, asked: Asked, choice: str) -> None:
    """Take a quantity that was told for a column."""
    if choice == "skip":
        column.role = Role.SKIP
        return
    quantity = Quantity(asked.ask(f"quantity:{column.name}", "", (*QUANTITIES, SKIP), "", also=("quantity",)) or choice)
    unit = labels.read_unit(quantity, column.label.unit)[0] if column.label.unit else ""
    column.role, column.quantity, column.unit = Role.READING, str(quantity), unit
    bare = column.name.rpartition(" (column ")[0] or column.name
    column.probe = "" if re.fullmatch(r"column \d+", bare) else column.label.probe or bare
