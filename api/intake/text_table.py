"""A text file as a table: its first lines, its delimiter, and its rows piece by piece.

Must not do: understand a cell.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path

from api.intake import delimiter as delimiters
from api.intake.errors import FileError
from api.intake.rows import HEAD_ROWS, HeadRow, Part
from api.intake.source import Kind
from api.intake.text_cells import numbered, split
from api.intake.text_lines import LONGEST_LINE, TextFile, open_text

REMEDY = "export it as CSV with a header, one row a time, from the logger's program"


@dataclass(frozen=True, slots=True)
class TextTable:
    """See ``Table``."""

    source: Path
    text: TextFile
    delimiter: str
    notes: tuple[str, ...]
    head: tuple[HeadRow, ...]
    kind: Kind = Kind.TEXT
    sheet: str = ""
    sheets: tuple[str, ...] = ()

    def parts(self, data_line: int, width: int, start_row: int = 0, numbers: Collection[int] = ()) -> Iterator[Part]:
        """Rows are lines from ``data_line`` on, blank ones counted. Raises FileError."""
        for piece in self.text.pieces(data_line + start_row):
            quick = numbered(piece, self.delimiter, width, numbers) if numbers else None
            # A file with gaps in one piece has them in the next.
            numbers = numbers if quick is not None else ()
            cells = quick if quick is not None else split(piece, self.delimiter, width)
            last = piece.first_line + piece.count
            yield Part(cells, last - data_line, piece.share, piece.open_end)


def open_text_table(source: Path, delimiter: str = "") -> TextTable:
    """Find encoding and delimiter (unless it is told). Raises FileError for what is no table."""
    text = open_text(source)
    first = next(text.pieces(), None)
    if first is not None and 1 in first.broken:
        raise FileError(str(source), first.broken[1], REMEDY, 1)
    if first is None or not first.data.strip():
        raise FileError(str(source), "the file holds no text", "see whether the logger or the copying has finished")
    if len(first.data) > LONGEST_LINE and first.count <= 1:
        raise FileError(str(source), f"a line longer than {LONGEST_LINE:,} bytes is no row of readings", REMEDY, 1)
    lines = first.data.split(b"\n", HEAD_ROWS * 2)[: HEAD_ROWS * 2]
    texts = [(at, one.decode("utf-8", "replace").rstrip("\r")) for at, one in enumerate(lines, 1)]
    told = [(at, one) for at, one in texts if one.strip()][:HEAD_ROWS]
    if len(told) > 2 and told[-1][0] == first.open_end:
        told.pop()
    found = delimiter or _by_word(told) or delimiters.find([one for _, one in told])
    if found is None:
        raise FileError(
            str(source), "its lines are not cut into cells by comma, semicolon, tab or pipe", REMEDY, told[0][0]
        )
    rows = [(at, one) for at, one in told if not one.startswith("sep=")]
    cells = delimiters.cut([one for _, one in rows], found)
    head = tuple(HeadRow(at, row) for (at, _), row in zip(rows, cells, strict=True))
    notes = (f"{text.encoding.words}; cells are parted by {delimiters.NAMES.get(found, repr(found))}",)
    return TextTable(source, text, found, notes, head)


def _by_word(lines: list[tuple[int, str]]) -> str:
    """The delimiter a spreadsheet's ``sep=;`` line names; empty without one."""
    first = lines[0][1] if lines else ""
    return first[4] if first.startswith("sep=") and len(first) == 5 and first[4] in delimiters.NAMES else ""
