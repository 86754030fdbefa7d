"""A plain CSV of two quantities read into blocks, beside a bare polars read of the same file, in one run.

    python -m tests.bench.intake [--rows 2000000] [--layout wide|long]

Prints the times of the bare read (numbers parsed, times left as text), of a bare read that parses times too, of a look
and of all blocks, the ratios, and the peak memory of a process that reads a tenth of the rows and one that reads all of
them (goal: at most 2.5 times the bare read, memory flat).
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

from api.intake.blocks import blocks
from api.intake.look import look

ANSWERS = {"probe": "p", "zone": "UTC"}
HEADS = {"wide": "time,temperature_c,oxygen_mg_l\n", "long": "probe,quantity,time,value,unit\n"}
PEAK = """
import sys
from pathlib import Path
from api.intake.blocks import blocks
from api.intake.look import look
source = Path(sys.argv[1])
recipe = look(source, {"probe": "p", "zone": "UTC"}).recipe
count = sum(len(one.values) for block in blocks(source, recipe) for one in block.series)
status = Path("/proc/self/status").read_text()
print(count, status.split("VmHWM:")[1].split()[0])
"""


def write(path: Path, rows: int, layout: str = "wide") -> None:
    """A reading a minute of each quantity."""
    step = 200_000
    with path.open("w") as file:
        file.write(HEADS[layout])
        for first in range(0, rows, step):
            at = np.arange(first, min(first + step, rows))
            times = (np.datetime64("2020-01-01T00:00:00") + at.astype("timedelta64[m]")).astype(str)
            warm, oxygen = 20 + np.sin(at / 700), 8 + np.cos(at / 700)
            if layout == "wide":
                lines = [f"{t.replace('T', ' ')},{a:.2f},{b:.2f}" for t, a, b in zip(times, warm, oxygen, strict=True)]
            else:
                lines = [
                    f"p,temperature,{t}Z,{a:.2f},Cel\np,oxygen,{t}Z,{b:.2f},mg/L"
                    for t, a, b in zip(times, warm, oxygen, strict=True)
                ]
            file.write("\n".join(lines) + "\n")


def best_s(run: Callable[[], object], times: int = 5) -> float:
    """The least of some runs."""
    found = []
    for _ in range(times):
        start_s = time.perf_counter()
        run()
        found.append(time.perf_counter() - start_s)
    return min(found)


def peak_mb(path: Path) -> float:
    """The most memory a process of its own takes to look at a file and read it. [MB]"""
    out = subprocess.run([sys.executable, "-c", PEAK, str(path)], capture_output=True, text=True, check=True)
    return int(out.stdout.split()[1]) / 1024


def main() -> None:
    """Write, read, print."""
    words = argparse.ArgumentParser(prog="python -m tests.bench.intake")
    words.add_argument("--rows", type=int, default=2_000_000)
    words.add_argument("--layout", choices=("wide", "long"), default="wide")
    asked = words.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path, small = Path(folder) / "bench.csv", Path(folder) / "small.csv"
        write(path, asked.rows, asked.layout)
        write(small, asked.rows // 10, asked.layout)
        start_s = time.perf_counter()
        recipe = look(path, ANSWERS).recipe
        look_s = time.perf_counter() - start_s
        if recipe is None:
            raise SystemExit("the file asked something")
        bare_s, ours_s = (
            best_s(lambda: pl.read_csv(path)),
            best_s(lambda: list(map(len, map(_series, blocks(path, recipe))))),
        )
        dated_s = best_s(lambda: pl.read_csv(path, try_parse_dates=True), 1)
        print(f"{asked.rows:,} rows x 2 quantities, {asked.layout}, {path.stat().st_size / 1e6:.0f} MB")
        print(
            f"bare polars read {bare_s:.2f} s, with times {dated_s:.2f} s; look {look_s:.2f} s; blocks {ours_s:.2f} s"
        )
        print(f"blocks take {ours_s / bare_s:.2f} times the bare read, {ours_s / dated_s:.2f} times the one with times")
        print(f"peak memory {peak_mb(small):.0f} MB for a tenth of the rows, {peak_mb(path):.0f} MB for all")


def _series(block: object) -> tuple[object, ...]:
    return tuple(getattr(block, "series", ()))


if __name__ == "__main__":
    main()
