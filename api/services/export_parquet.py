"""The same readings as a Parquet file, written page by page. Must not do: load its library before it is needed."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable, Iterable, Iterator
from errno import EIO, ENOSPC
from pathlib import Path
from typing import TYPE_CHECKING, Any

from api.domain.errors import InputError
from api.domain.quantity import MEANING
from api.services.export import ARRIVALS, Page

ROOM_BYTES = 1_000_000

if TYPE_CHECKING:
    import polars

MISSING = "Parquet needs the package polars, which is not installed here: pip install 'intermolt[parquet]', or use CSV"


def writer() -> Callable[[Path, Iterable[Page], dict[str, Any]], None]:
    """What writes a Parquet file.

    Raises InputError when its library is not installed.
    """
    try:
        import polars  # noqa: F401 - only whether it is there
        from polars.io.plugins import register_io_source  # noqa: F401
    except ImportError as error:
        raise InputError(MISSING) from error
    return write_parquet


def write_parquet(path: Path, pages: Iterable[Page], descriptor: dict[str, Any]) -> None:
    """Write pages into a file; the descriptor goes into it as well.

    Raises OSError when the file cannot be written, and whatever reading the pages raises.
    """
    import polars as pl
    from polars.io.plugins import register_io_source

    columns = {
        "time": pl.Datetime("ms", "UTC"), "tank": pl.String(), "probe": pl.String(), "quantity": pl.String(),
        "raw": pl.Float64(), "raw_unit": pl.String(), "value": pl.Float64(), "unit": pl.String(), "flag": pl.Int8(),
        "reason": pl.String(), "derived": pl.Boolean(), "arrival": pl.String(),
    }  # fmt: skip
    schema = pl.Schema(columns)

    def source(
        with_columns: list[str] | None, predicate: pl.Expr | None, n_rows: int | None, batch_size: int | None
    ) -> Iterator[polars.DataFrame]:
        """All of it: nothing is asked for less."""
        try:
            for page in pages:
                yield pl.DataFrame(_columns(page), schema=schema)
        except Exception as error:
            trouble.append(error)
            raise

    trouble: list[Exception] = []
    frame = register_io_source(source, schema=schema)
    inside = {"datapackage": json.dumps(descriptor, ensure_ascii=False)}
    try:
        frame.sink_parquet(path, compression="zstd", metadata=inside)
    except pl.exceptions.PolarsError as error:
        if trouble:
            raise trouble[0] from error
        # The library's words for a full disk name neither the disk nor that it is full.
        full = shutil.disk_usage(path.parent).free < ROOM_BYTES
        raise OSError(ENOSPC if full else EIO, os.strerror(ENOSPC) if full else str(error)) from error


def _columns(page: Page) -> dict[str, Any]:
    rows, channel = page.rows, page.channel
    many = len(rows)
    return {
        "time": [row.time_ms for row in rows],
        "tank": [page.tank or None] * many,
        "probe": [channel.probe] * many,
        "quantity": [str(channel.quantity)] * many,
        "raw": [row.raw_value for row in rows],
        "raw_unit": [row.raw_unit for row in rows],
        "value": [row.value for row in rows],
        "unit": [MEANING[channel.quantity].unit] * many,
        "flag": [int(row.flag) for row in rows],
        "reason": [row.reason or None for row in rows],
        "derived": [channel.derived] * many,
        "arrival": [ARRIVALS[row.arrival] for row in rows],
    }
