"""A Parquet file as a table: typed columns stay typed, rows are counted from 1 as lines.

Must not do: hold more than some rows.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from api.intake.errors import FileError, foreign
from api.intake.rows import HEAD_ROWS, HeadRow, Part
from api.intake.source import Kind
from api.intake.text_cells import Cells

PART_ROWS = 50_000
_REMEDY = "write or copy it again"


@dataclass(frozen=True, slots=True)
class ParquetTable:
    """See ``Table``."""

    source: Path
    height: int
    notes: tuple[str, ...]
    head: tuple[HeadRow, ...]
    kind: Kind = Kind.PARQUET
    delimiter: str = ""
    sheet: str = ""
    sheets: tuple[str, ...] = ()

    def parts(self, data_line: int, width: int, start_row: int = 0, numbers: Collection[int] = ()) -> Iterator[Part]:
        """Rows from ``data_line`` + ``start_row`` on. Raises FileError."""
        for row in range(data_line - 1 + start_row, self.height, PART_ROWS):
            frame = _rows(self.source, row, PART_ROWS)
            lines = np.arange(row + 1, row + 1 + frame.height, dtype=np.int64)
            done = row + frame.height
            yield Part(Cells(frame, lines), done - data_line + 1, done / self.height)


def open_parquet_table(source: Path) -> ParquetTable:
    """Raises FileError when the file is damaged or holds no rows."""
    with foreign(source, "the Parquet file is damaged or cut short", _REMEDY):
        height = int(pl.scan_parquet(source).select(pl.len()).collect().item())
    if not height:
        raise FileError(str(source), "the Parquet file holds no rows", "see whether it was written to its end")
    frame = _rows(source, 0, HEAD_ROWS)
    texts = frame.select(
        pl.col(name).dt.convert_time_zone("UTC").dt.to_string("%Y-%m-%dT%H:%M:%S%.3fZ")
        if isinstance(kind, pl.Datetime) and kind.time_zone else pl.col(name).cast(pl.String)
        for name, kind in frame.schema.items()
    ).fill_null("")  # fmt: skip
    head = (HeadRow(0, tuple(frame.columns)), *(HeadRow(at, row) for at, row in enumerate(texts.iter_rows(), 1)))
    return ParquetTable(source, height, (f"a Parquet file of {height:,} rows",), head)


def _rows(source: Path, start: int, count: int) -> pl.DataFrame:
    """Some rows; columns that hold neither text, numbers nor times are emptied."""
    with foreign(source, "the Parquet file cannot be read to its end", _REMEDY, start + 1):
        frame = pl.scan_parquet(source).slice(start, count).collect()
    return frame.select(
        pl.col(name) if kind.is_numeric() or kind.is_temporal() or kind == pl.String
        else pl.col(name).cast(pl.String) if kind in (pl.Categorical, pl.Enum, pl.Boolean)
        else pl.lit(None, pl.String).alias(name)
        for name, kind in frame.schema.items()
    )  # fmt: skip
