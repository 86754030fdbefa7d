"""Oxygen saturation of a million points beside the reference library's solubility, in one run.

    python -m tests.bench.science [--points 1000000] [--rounds 7]

Ours: saturation_mg_l in mg/L, fresh water at 1 atm, and with pressure and salinity as arrays. Reference: gsw's
O2sol_SP_pt, compiled, in umol/kg, always with salinity. Prints medians and the ratio (goal: 1 or more).
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Callable

import gsw
import numpy as np

from api.science.oxygen import saturation_mg_l


def seconds(work: Callable[[], object]) -> float:
    """How long a call takes."""
    start_s = time.perf_counter()
    work()
    return time.perf_counter() - start_s


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--points", type=int, default=1_000_000)
    parser.add_argument("--rounds", type=int, default=7)
    given = parser.parse_args()
    rng = np.random.default_rng(1)
    warmth, salt = rng.uniform(0.0, 40.0, given.points), rng.uniform(0.0, 40.0, given.points)
    air = rng.uniform(60.0, 105.0, given.points)
    works: dict[str, Callable[[], object]] = {
        "reference, gsw.O2sol_SP_pt": lambda: gsw.O2sol_SP_pt(0.0, warmth),
        "ours, fresh water at 1 atm": lambda: saturation_mg_l(warmth),
        "ours, pressure an array": lambda: saturation_mg_l(warmth, air),
        "ours, salinity an array": lambda: saturation_mg_l(warmth, 101.325, salt),
        "ours, all three arrays": lambda: saturation_mg_l(warmth, air, salt),
    }
    took: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(given.rounds):
        for name, work in works.items():
            took[name].append(seconds(work))
    reference_s = statistics.median(took["reference, gsw.O2sol_SP_pt"])
    for name, times in took.items():
        median_s = statistics.median(times)
        print(f"{name:28} {median_s * 1e3:7.1f} ms   ratio {reference_s / median_s:.2f}")
    t_c = 26.123
    one_s = seconds(lambda: [saturation_mg_l(t_c, 98.5, 0.2) for _ in range(100_000)]) / 100_000
    print(f"{'ours, one number at a time':28} {one_s * 1e6:7.2f} us")


if __name__ == "__main__":
    main()
