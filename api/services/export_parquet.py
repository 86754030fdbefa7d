"""The same readings as a Parquet file, written page by page. Must not do: load its library before it is needed."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from importlib import import_module
from pathlib import Path
from typing import Any

from api.domain.errors import InputError
from api.domain.quantity import MEANING
from api.services.export import ARRIVALS, Page

LIBRARY = "pyarrow"
MISSING = f"Parquet needs the package {LIBRARY}, which is not installed here: pip install {LIBRARY}, or use CSV"
GROUP_ROWS = 50_000
"""Rows that are compressed together: so many are held in memory."""

Write = Callable[[Path, Iterable[Page], dict[str, Any]], None]


def writer() -> Write:
    """What writes a Parquet file.

    Raises InputError when its library is not installed.
    """
    try:
        import_module(f"{LIBRARY}.parquet")
    except ImportError as error:
        raise InputError(MISSING) from error
    return write_parquet


def write_parquet(path: Path, pages: Iterable[Page], descriptor: dict[str, Any]) -> None:
    """Write pages into a file; the descriptor goes into it as well.

    Raises OSError when the file cannot be written, and whatever reading the pages raises.
    """
    arrow: Any = import_module(LIBRARY)
    parquet: Any = import_module(f"{LIBRARY}.parquet")
    schema = _schema(arrow, {"datapackage": json.dumps(descriptor, ensure_ascii=False)})
    with path.open("wb") as file, parquet.ParquetWriter(file, schema, compression="zstd") as out:
        held: list[Any] = []
        for page in pages:
            held.append(arrow.record_batch(_columns(page), schema=schema))
            if sum(batch.num_rows for batch in held) >= GROUP_ROWS:
                out.write_table(arrow.Table.from_batches(held))
                held.clear()
        out.write_table(arrow.Table.from_batches(held, schema=schema))


def _schema(arrow: Any, metadata: dict[str, str]) -> Any:
    text, number = arrow.string(), arrow.float64()
    kinds = {
        "time": arrow.timestamp("ms", "UTC"), "tank": text, "probe": text, "quantity": text, "raw": number,
        "raw_unit": text, "value": number, "unit": text, "flag": arrow.int8(), "reason": text,
        "derived": arrow.bool_(), "arrival": text,
    }  # fmt: skip
    return arrow.schema(list(kinds.items()), metadata=metadata)


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
