"""The least an import could do: Polars reads a file, ``executemany`` puts its rows into the table of readings."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl

from api.storage.migrations import migrate
from api.storage.sqlite import connect

ROWS_TOGETHER = 100_000
INSERT = "INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?, ?, ?)"


def write_wide(path: Path, rows: int) -> None:
    """An invented file of so many rows with two quantities, a minute apart."""
    chance, start_ms = np.random.default_rng(5), 1_700_000_000_000
    hours = np.arange(rows) / 60
    pl.DataFrame(
        {
            "time": (start_ms + np.arange(rows) * 60_000).astype("datetime64[ms]"),
            "temperature": np.round(26.0 + 0.4 * np.sin(hours * np.pi / 12) + 0.02 * chance.standard_normal(rows), 2),
            "oxygen": np.round(7.2 - 0.3 * np.sin(hours * np.pi / 12) + 0.02 * chance.standard_normal(rows), 2),
        }
    ).write_csv(path, datetime_format="%Y-%m-%dT%H:%M:%SZ")


def bare_import(path: Path, database: Path) -> int:
    """Read and insert; how many readings. The table is the service's own, with its own settings."""
    frame = pl.read_csv(path, try_parse_dates=True)
    times = frame["time"].dt.epoch("ms")
    connection = connect(database)
    migrate(connection)
    connection.execute("BEGIN")
    for channel, (name, unit) in enumerate((("temperature", "Cel"), ("oxygen", "mg/L")), 1):
        for start in range(0, len(frame), ROWS_TOGETHER):
            some = slice(start, start + ROWS_TOGETHER)
            values = frame[name][some].to_list()
            rows = [
                (channel, time_ms, value, unit, value, 1, None, 0)
                for time_ms, value in zip(times[some].to_list(), values, strict=True)
            ]
            connection.executemany(INSERT, rows)
    connection.execute("COMMIT")
    connection.close()
    return 2 * len(frame)
