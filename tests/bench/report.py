"""A conditions report over a year of fifty tanks from summaries, beside pandas on every raw reading, in one run.

    python -m tests.bench.report [--tanks 50] [--every 1800]

Prints both times, their ratio, and the largest difference of any figure (goal: under 2 s, equal to rounding).
"""

from __future__ import annotations

import argparse
import sqlite3
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag
from api.services.report import QuantityReport, Reports
from api.storage.sqlite import SqliteStore
from tests.bench.judging import plan_of

START_MS, DAY_MS = 1_700_006_400_000, 86_400_000
START_MS -= START_MS % DAY_MS
UNITS = {Quantity.TEMPERATURE: "Cel", Quantity.OXYGEN: "mg/L"}


def fill(store: SqliteStore, tanks: int, every_s: int) -> None:
    """A year of two quantities in each tank."""
    rng = np.random.default_rng(5)
    times = np.arange(START_MS, START_MS + 365 * DAY_MS, every_s * 1000)
    for tank in range(tanks):
        for quantity, middle in ((Quantity.TEMPERATURE, 26.0), (Quantity.OXYGEN, 7.2)):
            values = middle + 0.6 * np.sin(times / DAY_MS * 2 * np.pi) + rng.normal(0.0, 0.1, times.size)
            rows = [
                CheckedReading(f"p{tank}", quantity, at, value, UNITS[quantity], value, Flag.GOOD, "")
                for at, value in zip(times.tolist(), values.round(2).tolist(), strict=True)
            ]
            for first in range(0, len(rows), 5000):
                part = rows[first : first + 5000]
                store.write(lambda part=part: store.readings.append(part)).result()  # type: ignore[misc]


def figures(one: QuantityReport) -> tuple[float | None, ...]:
    """What is compared."""
    c = one.conditions
    return (c.mean, c.sd, c.median, c.p05, c.p95, c.low, c.high)


def raw(path: Path) -> dict[tuple[str, str], tuple[float, ...]]:
    """The same figures by pandas from every reading."""
    found: dict[tuple[str, str], tuple[float, ...]] = {}
    db = sqlite3.connect(path)
    for channel, probe, quantity in db.execute("SELECT id, probe, quantity FROM channel").fetchall():
        rows = pd.read_sql_query("SELECT time_ms, value FROM reading WHERE channel = ?", db, params=[channel])
        values = pd.Series(rows["value"].to_numpy(), index=pd.to_datetime(rows["time_ms"], unit="ms", utc=True))
        spans = values.resample("1h").mean().dropna()
        found[probe, quantity] = (
            spans.mean(), spans.std(ddof=0), spans.median(), spans.quantile(0.05), spans.quantile(0.95), values.min(),
            values.max(),
        )  # fmt: skip
    db.close()
    return found


def main() -> None:
    """Fill, report, compare, print."""
    words = argparse.ArgumentParser(prog="python -m tests.bench.report")
    words.add_argument("--tanks", type=int, default=50)
    words.add_argument("--every", type=int, default=1800, help="seconds between readings")
    asked = words.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.db"
        store = SqliteStore(path)
        fill(store, asked.tanks, asked.every)
        plan = plan_of(asked.tanks, float(asked.every))
        end_ms = START_MS + 365 * DAY_MS
        start_s = time.perf_counter()
        made = Reports(store, lambda: plan).report(None, START_MS, end_ms, end_ms)
        ours_s = time.perf_counter() - start_s
        start_s = time.perf_counter()
        theirs = raw(path)
        raw_s = time.perf_counter() - start_s
        off = max(
            abs((mine or 0.0) - other)
            for tank in made.tanks
            for one in tank.quantities
            for mine, other in zip(figures(one), theirs[one.probe, str(one.quantity)], strict=True)
        )
        store.close()
    readings = sum(one.readings for tank in made.tanks for one in tank.quantities)
    print(f"report from summaries  {ours_s:6.2f} s   {asked.tanks} tanks, a year, {readings:,} readings")
    print(f"pandas, raw readings   {raw_s:6.2f} s   ratio {raw_s / ours_s:.1f}   largest difference {off:.2e}")


if __name__ == "__main__":
    main()
