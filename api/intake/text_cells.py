"""Lines of text to columns of text: all at once where every line has its cells, line by line where one has not.

Must not do: understand a cell. A line without the right number of cells is refused with both numbers.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from api.intake.block import RefusedRow
from api.intake.text_lines import Piece

FAR = 20
"""Lines over which a quoted cell may reach."""
MOST_TEXT = 200
PLAIN = (-99.0, 9999.0)
"""Between these no logger's mark of no reading lies."""
Kinds = dict[str, type[pl.String] | type[pl.Float64]]


@dataclass(frozen=True, slots=True)
class Cells:
    """Columns of text or of typed values, the line of each row, and the rows that have no place in them."""

    frame: pl.DataFrame
    lines: NDArray[np.int64]
    refused: tuple[RefusedRow, ...] = ()


def columns(width: int) -> Kinds:
    """The names of so many columns of text."""
    return {f"c{at}": pl.String for at in range(width)}


def numbered(piece: Piece, delimiter: str, width: int, numbers: Collection[int]) -> Cells | None:
    """The cells with some columns read as numbers at once; None where any line or number needs a second look."""
    if piece.broken or b'"' in piece.data:
        return None
    kinds = {f"c{at}": pl.Float64 if at in numbers else pl.String for at in range(width)}
    frame = _read(piece.data, delimiter, kinds)
    if frame is None or frame.height != piece.count or frame[f"c{width - 1}"].null_count():
        return None
    for at in numbers:
        values = frame[f"c{at}"].to_numpy()
        # Gaps and what is no number come out as none; infinities and marks of no reading lie outside.
        if not (PLAIN[0] < np.min(values) and np.max(values) < PLAIN[1]):
            return None
    return Cells(frame, np.arange(piece.first_line, piece.first_line + piece.count, dtype=np.int64))


def split(piece: Piece, delimiter: str, width: int) -> Cells:
    """The cells of a piece of a file with ``width`` columns; blank lines are passed over."""
    count = piece.count
    if not piece.broken:
        # As many rows as lines, and a last cell in each: no quotation mark has swallowed a line or a delimiter.
        frame = _read(piece.data, delimiter, columns(width), '"' if b'"' in piece.data else None)
        if frame is not None and frame.height == count and not frame[f"c{width - 1}"].null_count():
            return Cells(frame, np.arange(piece.first_line, piece.first_line + count, dtype=np.int64))
    return _by_lines(piece, delimiter, width)


def _read(data: bytes, delimiter: str, kinds: Kinds, quote: str | None = None) -> pl.DataFrame | None:
    """All cells at once; None when some line has more of them, or quotation marks that make no sense."""
    if not data:
        return pl.DataFrame(schema=kinds)
    try:
        return pl.read_csv(
            data,
            has_header=False,
            schema=kinds,
            separator=delimiter,
            quote_char=quote,
            infer_schema=False,
            ignore_errors=pl.Float64 in kinds.values(),
        )
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException):
        return None


def _by_lines(piece: Piece, delimiter: str, width: int) -> Cells:
    """Plain lines together, the others one by one."""
    data = np.frombuffer(piece.data, np.uint8)
    ends = np.flatnonzero(data == 10)
    starts = np.concatenate((np.zeros(1, np.int64), ends[:-1] + 1)) if len(ends) else ends

    def each(sign: str) -> NDArray[np.int64]:
        """How many of a sign stand in each line."""
        where = np.flatnonzero(data == ord(sign))
        return np.searchsorted(where, ends) - np.searchsorted(where, starts)

    delimiters, quotes = each(delimiter), each('"')
    blank = ends - starts - delimiters - each("\r") - each(" ") <= 0
    plain = (delimiters == width - 1) & (quotes == 0) & ~blank
    odd = [int(at) for at in np.flatnonzero(~plain & ~blank)]
    rows, refused = _odd_lines(piece, odd, delimiter, width, plain)
    for line, why in piece.broken.items():
        refused.append(RefusedRow(line, "", "", why))
    kept = np.flatnonzero(plain)
    frame = _read(_together(piece.data, starts, ends, kept), delimiter, columns(width))
    if frame is None or frame.height != len(kept):  # never seen; the slow way knows each line by itself
        everything = np.flatnonzero(~blank).tolist()
        rows, refused = _odd_lines(piece, everything, delimiter, width, np.zeros_like(plain))
        kept, frame = kept[:0], pl.DataFrame(schema=columns(width))
    lines = np.concatenate((kept, np.fromiter(rows, np.int64, len(rows)))).astype(np.int64)
    frame = pl.concat((frame, pl.DataFrame(list(rows.values()), schema=columns(width), orient="row")))
    order = np.argsort(lines, kind="stable")
    return Cells(frame[order], lines[order] + piece.first_line, tuple(sorted(refused, key=lambda one: one.line)))


def _together(data: bytes, starts: NDArray[np.int64], ends: NDArray[np.int64], kept: NDArray[np.int64]) -> bytes:
    """The bytes of some lines."""
    if len(kept) == len(ends):
        return data
    if not len(kept):
        return b""
    breaks = np.flatnonzero(np.diff(kept) != 1)
    firsts, lasts = kept[np.r_[0, breaks + 1]], kept[np.r_[breaks, len(kept) - 1]]
    return b"".join(data[starts[a] : ends[b] + 1] for a, b in zip(firsts, lasts, strict=True))


def _odd_lines(
    piece: Piece, odd: list[int], delimiter: str, width: int, plain: NDArray[np.bool_]
) -> tuple[dict[int, list[str]], list[RefusedRow]]:
    """Rows by their first line, and what is refused; lines within a quoted cell are taken out of ``plain``."""
    lines = piece.data.split(b"\n")
    rows: dict[int, list[str]] = {}
    refused: list[RefusedRow] = []
    after = -1
    for at in odd:
        if at < after:
            continue
        text, last = lines[at].decode("utf-8", "replace"), at
        while text.count('"') % 2 and last - at < FAR and last + 1 < len(lines) - 1:
            if lines[last + 1].count(delimiter.encode()) >= width - 1:
                break  # a row by itself, so that the quotation mark before it was a slip
            last += 1
            text += "\n" + lines[last].decode("utf-8", "replace")
        if text.count('"') % 2:
            text, last = lines[at].decode("utf-8", "replace"), at
        cells = _cells(text, delimiter)
        while len(cells) > width and not cells[-1].strip():
            cells.pop()
        if len(cells) == width:
            rows[at] = cells
            plain[at : last + 1], after = False, last + 1
        else:
            refused.append(RefusedRow(piece.first_line + at, "", text[:MOST_TEXT], _wrong(cells, text, width)))
    return rows, refused


def _cells(text: str, delimiter: str) -> list[str]:
    try:
        return next(csv.reader(io.StringIO(text.rstrip("\r"), newline=""), delimiter=delimiter), [])
    except csv.Error:
        return []


def _wrong(cells: list[str], text: str, width: int) -> str:
    if text.count('"') % 2:
        return "a quotation mark is opened and not closed"
    return f"it has {len(cells)} cell{'' if len(cells) == 1 else 's'} where the header has {width}"
