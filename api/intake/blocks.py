"""The readings of a file by a recipe, block by block, in little memory.

Must not do: keep, convert or judge a reading.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

import numpy as np

from api.intake import header, instants
from api.intake.block import Block, RefusedRow
from api.intake.column import bare_name
from api.intake.errors import FileError
from api.intake.label_words import Role
from api.intake.labels import is_unit, read
from api.intake.readings import gather, streams
from api.intake.recipe import Recipe
from api.intake.repeats import Repeats
from api.intake.rows import Part
from api.intake.table import open_table
from api.intake.text_cells import Cells

RUN_IN = 200_000
"""Rows read again before ``start_row`` so that the order within a doubled hour is known; more than a day's."""
OPEN_END = "the last line has no end: the file is still being written, or was cut short"


def blocks(source: Path, recipe: Recipe, start_row: int = 0, size: int = 50_000) -> Iterator[Block]:
    """Blocks of at most ``size`` rows, from ``start_row`` (0, or a block's ``next_row``) to the end of the file.

    Reads nothing but ``source``. Raises FileError (an InputError) when the recipe does not fit the file, or when the
    file cannot be read to its end.
    """
    table = open_table(source, recipe.delimiter, recipe.sheet)
    top = header.find(source, table.head)
    places = {name: at for at, name in enumerate(top.names)}
    for one in recipe.columns:
        if one.role is not Role.SKIP and one.name not in places:
            raise FileError(
                str(source), f"it has no column {one.name[:60]!r}", "look at the file again; the recipe is for another",
                top.line,
            )  # fmt: skip
    repeats = Repeats(recipe.time.repeated, recipe.time.falling)
    begin = max(0, start_row - RUN_IN) if recipe.time.repeated == "order" else start_row
    plain = recipe.decimal == "." and not recipe.grouped
    numbers = [places[one.name] for one in recipe.readings] if plain else []
    for part in table.parts(top.data_line, top.width, begin, numbers):
        line = top.data_line + start_row
        at = int(np.searchsorted(part.cells.lines, line))
        if at and recipe.time.repeated == "order":
            _walk(Cells(part.cells.frame[:at], part.cells.lines[:at]), places, recipe, repeats)
        if part.next_row <= start_row:
            continue
        part = _after(part, line, at)
        yield from _pieces(source, part, places, recipe, repeats, size, top.data_line)


def _walk(cells: Cells, places: Mapping[str, int], recipe: Recipe, repeats: Repeats) -> None:
    found = instants.read(cells.frame, places, recipe)
    keys = streams(cells.frame, places, recipe)
    repeats.settle(found, keys.to_list() if keys is not None and found.doubled.any() else None)


def _after(part: Part, line: int, at: int) -> Part:
    """Without the rows before a line, of which there are ``at``."""
    cells = part.cells
    refused = tuple(one for one in cells.refused if one.line >= line)
    return Part(Cells(cells.frame[at:], cells.lines[at:], refused), part.next_row, part.share, part.open_line)


def _pieces(
    source: Path, part: Part, places: Mapping[str, int], recipe: Recipe, repeats: Repeats, size: int, data_line: int
) -> Iterator[Block]:
    """A part of a file in blocks of at most ``size`` rows."""
    cells = part.cells
    count = cells.frame.height
    for start in range(0, max(count, 1), size):
        end = min(start + size, count)
        last = end == count
        low = int(cells.lines[start]) if start else 0
        high = int(cells.lines[end]) if not last else None
        refused = tuple(one for one in cells.refused if one.line >= low and (high is None or one.line < high))
        one = Cells(cells.frame[start:end], cells.lines[start:end], refused)
        next_row = part.next_row if high is None else high - data_line
        yield _block(source, one, places, recipe, repeats, next_row, part.share, part.open_line)


def _block(
    source: Path,
    cells: Cells, places: Mapping[str, int], recipe: Recipe, repeats: Repeats, next_row: int, share: float,
    open_line: int | None,
) -> Block:  # fmt: skip
    if open_line is not None and recipe.last_line == "refuse" and len(cells.lines) and cells.lines[-1] == open_line:
        text = " ".join(str(cell) for cell in cells.frame.row(-1) if cell is not None)
        refused = (*cells.refused, RefusedRow(open_line, "", text, OPEN_END))
        cells = Cells(cells.frame[:-1], cells.lines[:-1], refused)
    found = instants.read(cells.frame, places, recipe)
    for row in found.bad:
        _check_header(source, cells, row, places, recipe)
    keys = streams(cells.frame, places, recipe) if found.doubled.any() else None
    time_ms = repeats.settle(found, keys.to_list() if keys is not None else None)
    sheaf = gather(cells, places, recipe, time_ms, found.bad)
    refused = tuple(sorted(sheaf.refused, key=lambda one: one.line))
    return Block(tuple(sheaf.series), refused, len(cells.lines) + len(cells.refused), next_row, share)


def _check_header(source: Path, cells: Cells, row: int, places: Mapping[str, int], recipe: Recipe) -> None:
    """Raises FileError where a second header names other columns, as what follows would be read by the first."""
    timed = recipe.of(Role.TIME) or recipe.the(Role.DATE)
    text = cells.frame.item(row, places[timed.name])
    if not isinstance(text, str) or read(text).role not in (Role.TIME, Role.DATE):
        return
    told = [str(cell or "").strip() for cell in cells.frame.row(row)]
    for name, place in places.items():
        rule = next((one for one in recipe.columns if one.name == name), None)
        other = told[place] not in ("", bare_name(name)) and not is_unit(told[place])
        if rule is not None and rule.role is not Role.SKIP and other:
            what = f"a second header begins here, with {told[place][:60]!r} instead of {bare_name(name)[:60]!r}"
            line = int(cells.lines[row])
            raise FileError(str(source), what, "part the file before this line and import both", line, name)
