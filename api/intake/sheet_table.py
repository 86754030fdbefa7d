"""A sheet of a workbook as a table: cells as text, dates as ISO text, what a formula last gave and never the formula.

Must not do: unpack an archive whose size was not checked (``zip_check.py``), or work out a formula.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import islice
from pathlib import Path

import numpy as np
import polars as pl
from python_calamine import CalamineSheet, CalamineWorkbook, SheetVisibleEnum

from api.intake.errors import FileError, foreign
from api.intake.rows import HEAD_ROWS, HeadRow, Part
from api.intake.source import Kind
from api.intake.text_cells import Cells, columns
from api.intake.zip_check import check_workbook

PART_ROWS = 20_000
_REMEDY = "save it again, or export it as CSV"
Cell = int | float | str | bool | time | date | datetime | timedelta


@dataclass(frozen=True, slots=True)
class SheetTable:
    """See ``Table``; ``timed`` are the columns whose dates have clock times, so that a bare date there is midnight."""

    source: Path
    rows: CalamineSheet
    sheet: str
    sheets: tuple[str, ...]
    notes: tuple[str, ...]
    head: tuple[HeadRow, ...]
    timed: frozenset[int]
    kind: Kind = Kind.XLSX
    delimiter: str = ""

    def parts(self, data_line: int, width: int, start_row: int = 0, numbers: Collection[int] = ()) -> Iterator[Part]:
        """Rows are rows of the sheet from ``data_line`` on."""
        every, line = islice(self.rows.iter_rows(), data_line + start_row - 1, None), data_line + start_row
        end = self.rows.total_height + 1
        while rows := list(islice(every, PART_ROWS)):
            texts = _texts(rows, self.timed)
            lines = [at for at, row in enumerate(texts, line) if any(row)]
            frame = pl.DataFrame(
                [[cell or None for cell in row[:width]] for row in texts if any(row)],
                schema=columns(width),
                orient="row",
            )
            line += len(rows)
            yield Part(Cells(frame, np.array(lines, np.int64)), line - data_line, min(1.0, line / max(end, 1)))


def open_sheet_table(source: Path, sheet: str = "") -> SheetTable:
    """The sheet that is named, or the one with most rows. Raises FileError for what cannot be read as a workbook."""
    check_workbook(source)
    with foreign(source, "the workbook cannot be read", _REMEDY):
        book = CalamineWorkbook.from_path(source)
        seen = [one.name for one in book.sheets_metadata if one.visible is SheetVisibleEnum.Visible]
        sheets = {name: book.get_sheet_by_name(name) for name in seen or book.sheet_names}
    filled = {name: one for name, one in sheets.items() if one.start is not None and one.height > 1}
    if not filled:
        raise FileError(
            str(source), "no sheet of the workbook holds rows", "see whether it was saved with its readings"
        )
    if sheet and sheet not in filled:
        raise FileError(str(source), f"it has no sheet {sheet[:60]!r} with rows", f"use one of: {', '.join(filled)}")
    name = sheet or max(filled, key=lambda one: filled[one].height)
    chosen = filled[name]
    rows = list(islice(chosen.iter_rows(), (chosen.start or (0, 0))[0] + HEAD_ROWS))
    timed = frozenset(at for row in rows for at, cell in enumerate(row) if _is_timed(cell))
    head = tuple(
        HeadRow(at, tuple(cell or "" for cell in row))
        for at, row in enumerate(_texts(rows, timed), 1) if any(row)
    )  # fmt: skip
    return SheetTable(source, chosen, name, tuple(filled), (f"sheet {name!r} of a workbook",), head, timed)


def _is_timed(cell: Cell) -> bool:
    return isinstance(cell, datetime) and cell.time() != time()


def _texts(rows: Sequence[Sequence[Cell]], timed: frozenset[int]) -> list[list[str]]:
    """Cells as text."""
    return [[_text(cell, at in timed) for at, cell in enumerate(row)] for row in rows]


def _text(cell: Cell, timed: bool) -> str:
    if isinstance(cell, str):
        return cell
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime):
        # A sheet's day is a binary fraction, which names a millisecond and hardly a microsecond.
        near = cell + timedelta(microseconds=500)
        return near.isoformat(" ", "milliseconds" if near.microsecond >= 1000 else "seconds")
    if isinstance(cell, date):
        return f"{cell.isoformat()} 00:00:00" if timed else cell.isoformat()
    if isinstance(cell, timedelta):
        clock = datetime(1900, 1, 1) + cell  # noqa: DTZ001 - a clock time, of no zone
        return clock.time().isoformat() if timedelta() <= cell < timedelta(days=1) else str(cell)
    return cell.isoformat() if isinstance(cell, time) else str(cell)
