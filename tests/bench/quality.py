"""Quality checks of a long series beside the reference library ioos_qc, in one run, and the cost of a live reading.

    python -m tests.bench.quality [--points 1000000] [--rounds 3]

Ours: gross range, spike, rate of change, flat line and attenuated signal (range) in one call. Reference: the library's
five functions with the same limits, imports not counted. One reading a minute, rounded to 0.01, with spikes, jumps and
stretches of one number. Prints both, the ratio of medians (goal: 10 or better), where the flags differ (goal: nowhere
that ours could be checked), and microseconds a reading one by one (goal: 8 or less).
"""

from __future__ import annotations

import argparse
import statistics
import time
import warnings
from collections.abc import Callable
from typing import Any

import numpy as np

from api.domain.checks import CheckLimits
from api.domain.quantity import Quantity
from api.judge.check_batch import Checked, check
from api.judge.check_defaults import defaults
from api.judge.check_stream import Stream
from api.science.arrays import Flags, Floats, Ints

START_MS = 1_700_000_000_000
LIMITS = CheckLimits(
    fail_low=-5.0,
    fail_high=60.0,
    suspect_low=0.5,
    suspect_high=45.0,
    spike_suspect=0.6,
    spike_fail=5.0,
    rate_suspect_per_h=60.0,
    flat_suspect_s=1800.0,
    flat_fail_s=3600.0,
    flat_tolerance=0.005,
    gap_s=600.0,
    attenuated_window_s=3600.0,
    attenuated_suspect=0.025,
    attenuated_fail=0.005,
)


def series(points: int) -> tuple[Ints, Floats]:
    """Two slow waves and a probe's noise; one reading in a thousand odd, an hour and a half in each week stuck."""
    chance = np.random.default_rng(7)
    place = np.arange(points)
    water = 25.0 + 0.6 * np.sin(place * (2 * np.pi / 1440)) + 0.8 * np.sin(place * (2 * np.pi / 33_000))
    said = np.round(water + 0.012 * chance.standard_normal(points), 2)
    odd = chance.choice(points, points // 1000, replace=False)
    said[odd] += chance.normal(0.0, 2.0, len(odd)).round(2)
    for start in range(5000, points - 90, 10_080):
        said[start : start + 90] = said[start]
    return START_MS + place.astype(np.int64) * 60_000, said


def library(times_ms: Ints, values: Floats) -> dict[str, Flags]:
    """The reference's flags."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from ioos_qc import qartod

        dates = times_ms.astype("datetime64[ms]")
        found: dict[str, Any] = {
            "gross": qartod.gross_range_test(values, (-5.0, 60.0), (0.5, 45.0)),
            "spike": qartod.spike_test(values, 0.6, 5.0),
            "rate": qartod.rate_of_change_test(values, dates, 60.0 / 3600),
            "flat": qartod.flat_line_test(values, dates, 1800, 3600, 0.005),
            "attenuated": qartod.attenuated_signal_test(
                values, dates, 0.025, 0.005, test_period=3600, min_obs=2, check_type="range"
            ),
        }
    return {test: np.asarray(flags).astype(np.int8) for test, flags in found.items()}


def timed(work: Callable[[], Any], rounds: int) -> tuple[float, Any]:
    """Median seconds, and what came out."""
    took: list[float] = []
    result: Any = None
    for _ in range(rounds):
        start_s = time.perf_counter()
        result = work()
        took.append(time.perf_counter() - start_s)
    return statistics.median(took), result


def one_by_one(times_ms: list[int], values: list[float], limits: CheckLimits) -> float:
    """Microseconds a reading."""
    stream = Stream(limits, Quantity.TEMPERATURE)
    start_s = time.perf_counter()
    for time_ms, value in zip(times_ms, values, strict=True):
        stream.step(time_ms, value)
    return (time.perf_counter() - start_s) / len(values) * 1e6


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--points", type=int, default=1_000_000)
    parser.add_argument("--rounds", type=int, default=3)
    given = parser.parse_args()
    times_ms, values = series(given.points)
    library(times_ms[:1000], values[:1000])
    ours_s, mine = timed(lambda: check(times_ms, values, LIMITS, Quantity.TEMPERATURE), given.rounds)
    theirs_s, theirs = timed(lambda: library(times_ms, values), given.rounds)
    assert isinstance(mine, Checked)
    print(f"ours, {given.points:,} readings       {ours_s:8.2f} s  {given.points / ours_s:12,.0f} readings/s")
    print(f"ioos_qc, the same            {theirs_s:8.2f} s  {given.points / theirs_s:12,.0f} readings/s")
    print(f"ratio                        {theirs_s / ours_s:8.1f}")
    for test, flags in theirs.items():
        known = mine.tests[test] != 2
        differ = int(np.count_nonzero(mine.tests[test][known] != flags[known]))
        flagged = int(np.count_nonzero(flags >= 3))
        print(
            f"  {test:<12} flagged {flagged:>7,}  differ {differ:>5,}  not evaluated by ours {int((~known).sum()):>4,}"
        )
    usual = defaults(Quantity.TEMPERATURE, 60.0)
    for words, limits in (("usual limits", usual), ("all windows", LIMITS)):
        some = slice(0, min(given.points, 200_000))
        cost_us = statistics.median(
            one_by_one(times_ms[some].tolist(), values[some].tolist(), limits) for _ in range(given.rounds)
        )
        print(f"one by one, {words:<16} {cost_us:8.2f} us a reading")


if __name__ == "__main__":
    main()
