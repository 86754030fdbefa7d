"""A look's words: what each column became, and the first rows as readings.

Must not do: decide anything.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from api.domain.quantity import MEANING, Quantity
from api.intake import instants
from api.intake.asked import Asked
from api.intake.column import Columns
from api.intake.header import Top
from api.intake.label_words import Role
from api.intake.numbers import SENTINELS, number
from api.intake.overview import some
from api.intake.readings import gather, streams
from api.intake.recipe import Recipe
from api.intake.repeats import Repeats
from api.intake.rows import Table
from api.intake.text_cells import Cells
from api.intake.understood import ColumnRead, PreviewRow

EXAMPLES = 3
PREVIEW_ROWS = 12
ROLE_SAYS = {
    Role.TIME: "time", Role.DATE: "date", Role.CLOCK: "time of day", Role.OFFSET: "offset from UTC",
    Role.PROBE: "name of the probe", Role.QUANTITY: "name of the quantity", Role.VALUE: "value", Role.UNIT: "unit",
    Role.DERIVED: "mark of what was computed (left out)", Role.SKIP: "left out",
}  # fmt: skip


def columns_read(found: Columns) -> tuple[ColumnRead, ...]:
    """Each column in words."""
    out = []
    for one in found.all:
        became = ROLE_SAYS.get(one.role, "")
        if one.role is Role.READING:
            became = MEANING[Quantity(one.quantity)].label + (f" of {one.probe}" if one.probe else "")
        elif one.role is Role.SKIP and one in found.spare:
            became = f"left out: {one.label.doubt or 'it is not said what it measures'}"
        elif one.role is Role.SKIP and one.label.role is Role.READING:
            became = "left out: none of its first cells is a number"
        examples = tuple(dict.fromkeys(cell for cell in one.cells if cell.strip()))[:EXAMPLES]
        out.append(ColumnRead(one.name, became, one.unit, examples))
    return tuple(out)


def notes_of(table: Table, top: Top, found: Columns, asked: Asked) -> None:
    """What was found around the rows."""
    if top.preamble:
        asked.note(f"before the header, passed over: {some(len(top.preamble), 'line')}")
    if top.line is None:
        asked.note("there is no header; columns are named by their place")
    if any(cell.strip() for cell in top.units):
        asked.note("a row of units stands below the header")
    for row in top.skipped:
        shown = ", ".join(cell.strip() for cell in row.cells)[:60]
        asked.note(f"line {row.line}, below the header, is no row of readings and is left out: {shown!r}")
    for name in top.doubled:
        asked.note(f"several columns are named {name!r}; they are told apart by their place")
    marks = {
        cell.strip() for one in found.readings for cell in one.cells
        if number(cell)[0] in SENTINELS or number(cell.replace(",", "."))[0] in SENTINELS
    }  # fmt: skip
    if marks:
        asked.note(f"{', '.join(sorted(marks))} is taken for a logger's mark of no reading and refused")
    gaps = {
        cell.strip()
        for one in found.readings
        for cell in one.cells
        if number(cell)[1:] == ("", "") and number(cell)[0] != number(cell)[0]
    }
    if gaps:
        words = ", ".join(sorted(repr(one) if one else "empty cells" for one in gaps))
        asked.note(f"{words}: no reading")


def preview(table: Table, top: Top, recipe: Recipe, *, zone_open: bool) -> tuple[PreviewRow, ...]:
    """The first rows as understood, refused ones among them; a unit that is not told yet is ``?``."""
    part = next(table.parts(top.data_line, top.width), None)
    if part is None:
        return ()
    rules = tuple(replace(one, unit=one.unit or "?") if one.role is Role.READING else one for one in recipe.columns)
    recipe = replace(recipe, columns=rules, time=replace(recipe.time, zone=recipe.time.zone or "UTC"))
    frame, lines = part.cells.frame[:PREVIEW_ROWS], part.cells.lines[:PREVIEW_ROWS]
    upto = int(lines[-1]) if len(lines) == PREVIEW_ROWS else part.next_row + top.data_line
    refused_rows = tuple(one for one in part.cells.refused if one.line <= upto)[:PREVIEW_ROWS]
    places = {name: at for at, name in enumerate(top.names)}
    found = instants.read(frame, places, recipe)
    keys = streams(frame, places, recipe)
    repeats = Repeats(recipe.time.repeated, recipe.time.falling)
    time_ms = repeats.settle(found, keys.to_list() if keys is not None else None)
    sheaf = gather(Cells(frame, lines, refused_rows), places, recipe, time_ms, found.bad)
    values: dict[int, list[tuple[str, str, float, str]]] = {}
    for series in sheaf.series:
        for line, value in zip(series.lines.tolist(), series.values.tolist(), strict=True):
            values.setdefault(line, []).append((series.probe, str(series.quantity), value, series.unit))
    refused: dict[int, list[str]] = {}
    for one in sheaf.refused:
        refused.setdefault(one.line, []).append(f"{one.column}: {one.reason}" if one.column else one.reason)
    told = {
        int(line): tuple("" if cell is None else str(cell) for cell in frame.row(at)) for at, line in enumerate(lines)
    }
    times = {
        int(line): _time(int(time_ms[at]), local=zone_open and not found.aware[at])
        for at, line in enumerate(lines) if at not in found.bad
    }  # fmt: skip
    cells = told | {one.line: (one.text,) for one in refused_rows}
    return tuple(
        PreviewRow(
            line, cells[line], times.get(line, ""), tuple(values.get(line, ())), "; ".join(refused.get(line, ()))
        )
        for line in sorted(cells)
    )


def _time(time_ms: int, *, local: bool) -> str:
    moment = datetime.fromtimestamp(time_ms / 1000, UTC)
    text = moment.isoformat(timespec="milliseconds" if time_ms % 1000 else "seconds")
    return text.replace("T", " ").replace("+00:00", " by the logger's clock") if local else text.replace("+00:00", "Z")
