"""A tank-year at one minute rehearsed from its file, beside a bare import, in one run.

    python -m tests.bench.rehearsal [--days 365] [--rows 2000000]

The tank has two probes, temperature and oxygen a minute for a year (1.05 million readings); every ninth day its air is
lost for some hours. The calm run is compiled before, as the set-up does, and its seconds are told; loading it counts.
The bare import (``tests/support/bare_import.py``) reads a file of 2,000,000 rows with two quantities by Polars and puts
them into the table of readings by ``executemany``. Goal: the rehearsal takes less than half of that time. Told are
seconds on the clock and of the processor; on a busy machine the latter count.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl

from api.rehearsal.command import plan_of
from api.rehearsal.whole import rehearsed
from api.services.recorded import read_recorded
from tests.support.bare_import import bare_import, write_wide
from tests.support.mild_room import mild_text

START_MS = 1_700_000_000_000
GOAL = 0.5


def write_year(path: Path, days: int) -> int:
    """The tank's file, a row a reading; how many."""
    chance, count = np.random.default_rng(3), days * 1440
    hours = np.arange(count) / 60
    day = np.sin(hours * np.pi / 12)
    into_h = (hours % (9 * 24)) - 50.0
    lost = np.where((into_h > 0) & (into_h < 5), 5.0 * (1 - np.exp(-0.25 * np.maximum(into_h, 0.0))), 0.0)
    end = 5.0 * (1 - np.exp(-0.25 * 5.0))
    lost = np.where(into_h >= 5, end * np.exp(-2.0 * np.maximum(into_h - 5.0, 0.0)), lost)
    times = (START_MS + np.arange(count) * 60_000).astype("datetime64[ms]")
    said = {
        "temperature": 26.0 + 0.4 * day + 0.02 * chance.standard_normal(count),
        "oxygen": np.maximum(0.0, 7.3 - 0.3 * day - lost + 0.02 * chance.standard_normal(count)),
    }
    frames = [
        pl.DataFrame({"time": times, "value": np.round(values, 2)}).with_columns(
            pl.lit(probe).alias("probe"), pl.lit(name).alias("quantity"), pl.lit(unit).alias("unit")
        )
        for (name, values), probe, unit in zip(said.items(), ("p00", "p01"), ("Cel", "mg/L"), strict=True)
    ]
    rows = pl.concat(frames).sort("time", maintain_order=True).select("probe", "quantity", "time", "value", "unit")
    rows.write_csv(path, datetime_format="%Y-%m-%dT%H:%M:%SZ")
    return len(rows)


def timed(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds on the clock and of the processor."""
    clock, cpu = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - clock, time.process_time() - cpu


def main(say: Callable[[str], None] = print) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="tests.bench.rehearsal")
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--rows", type=int, default=2_000_000)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_wide(folder / "wide.csv", asked.rows)
        count = write_year(folder / "year.csv", asked.days)
        (folder / "room.toml").write_text(mild_text([["heat", "air"]], 60), encoding="utf-8")
        plan = plan_of(folder / "room.toml")
        made = timed(lambda: subprocess.run([sys.executable, "-m", "api.rehearsal.compiled"], check=True))
        bare = timed(lambda: bare_import(folder / "wide.csv", folder / "bare.db"))
        read = timed(lambda: read_recorded([folder / "year.csv"]))
        recorded = read_recorded([folder / "year.csv"]).recorded
        end_ms = max(int(one.times_ms[-1]) for one in recorded)
        told: list[object] = []
        run = timed(lambda: told.extend(rehearsed(plan, recorded, end_ms)))
    say(f"calm run compiled, or found: {made[0]:.1f} s, once for a machine")
    say(f"bare import of {asked.rows} rows x 2: {_both(bare)}")
    say(f"rehearsal of {count} readings: file read in {_both(read)}, rehearsed in {_both(run)}; {len(told)} steps told")
    both = read[0] + run[0], read[1] + run[1]
    say(f"{count / both[1]:,.0f} readings a second of the processor, {count / run[1]:,.0f} without the file")
    say(f"rehearsal / bare import: {both[0] / bare[0]:.2f} by the clock, {both[1] / bare[1]:.2f} by the processor")
    say(f"goal: below {GOAL}")


def _both(seconds: tuple[float, float]) -> str:
    return f"{seconds[0]:.1f} s ({seconds[1]:.1f} s of the processor)"


if __name__ == "__main__":
    main()
