"""What each column becomes: by its name, by what its first cells hold, and by what was answered.

Must not do: settle units, zones or orders (``look_units.py``, ``look_times.py``).
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from api.domain.quantity import MEANING, Quantity
from api.intake import labels
from api.intake.asked import Asked
from api.intake.column import Column, Columns, bare_name
from api.intake.column_times import find_times
from api.intake.errors import FileError
from api.intake.header import Top, is_number
from api.intake.label_words import PROBE_ORDER, Role
from api.intake.labels import Label, plain
from api.intake.numbers import MISSING, number
from api.intake.time_text import Said, said

EXPORTED = ("time", "probe", "quantity", "raw", "raw_unit")
"""The columns by which a file that ``intermolt export`` wrote is known."""
QUANTITIES = tuple((str(one), meaning.label) for one, meaning in MEANING.items())
SKIP = ("skip", "leave it out")


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
    labelled = [labels.read(bare_name(name), unit) for name, unit in zip(top.names, top.units, strict=True)]
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
        find_times(source, top, columns, asked)
        _rows_that_say(columns, asked)
        _readings(source, top, columns, asked)
        _unit_beside(columns)
    _refuse_twins(source, top, columns)
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
            "several columns could name it", suggestion=named[0].name,
            must=bare_name(named[0].name) == bare_name(named[1].name),
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


def _refuse_twins(source: Path, top: Top, columns: Columns) -> None:
    """Two columns of one name where only one can be meant, and no answer could say which."""
    for role in (Role.DATE, Role.CLOCK, Role.OFFSET, Role.QUANTITY, Role.VALUE, Role.UNIT):
        one = columns.of(role)
        bare = bare_name(one.name) if one is not None else ""
        if one is not None and bare in top.doubled and not one.quantity:
            todo = "give each a name of its own, or take one out"
            raise FileError(str(source), f"several columns are named {bare!r}", todo, top.line, one.name)


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
    bare = bare_name(column.name)
    column.probe = "" if re.fullmatch(r"column \d+", bare) else column.label.probe or bare
