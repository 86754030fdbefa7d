"""Our tests beside the reference library ioos_qc 3.0.0, on series where both mean the same.

Where they differ, and why (``DIFFERS`` in test_quality_published.py has cases of each):

* First and last readings, windows not yet full: the library says good, or (range over a window) judges the part it has;
  ours is not evaluated, unless the part alone shows that the signal moves.
* A missing value: the library's spike test leaves its neighbours not evaluated and its rate test says good after it;
  ours compare across it, within the gap. The same for values that fail the gross range, which the library keeps in.
* Gaps: the library's spike, rate and flat line tests do not see them; ours have no neighbour across one. The library
  fails the reading after a gap; ours is not evaluated.
* Rate: the library cuts times to whole seconds; ours keeps milliseconds and may take the probe's noise off first.
* Flat line: the library turns seconds into a count by the median step, counts missing values into it, and asks
  range < tolerance; ours goes by the times themselves and asks range <= tolerance.
* Together: the library ranks not evaluated and missing below good; with us the worst wins.
* Both flag every neighbour of a big spike: half its height is theirs (average method).
"""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from api.domain.checks import CheckLimits
from api.domain.quantity import Quantity
from api.judge.check_batch import check
from api.science.arrays import Flags, Floats, Ints

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from ioos_qc import qartod

START_MS = 1_700_000_000_000
GRID = st.integers(-40, 40).map(lambda n: 25.0 + n / 16)
"""Sixteenths are exact, so that both sides' arithmetic is."""
SERIES = st.lists(st.one_of(GRID, st.sampled_from([25.0, 25.0, 25.0, 70.0, -127.0])), min_size=3, max_size=60)
LOOSE = settings(deadline=None, max_examples=150)


def library(test: str, *series: Any, **limits: Any) -> Flags:
    """Flags of the library, whose own warnings are none of ours."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return np.asarray(getattr(qartod, test)(*series, **limits)).astype(np.int8)


def ours(test: str, times_ms: Ints, values: Floats, **limits: float) -> Flags:
    """Flags of one of our tests, without gaps."""
    given_limits = CheckLimits(**limits, gap_s=1e9)  # type: ignore[arg-type]
    return check(times_ms, values, given_limits, Quantity.TEMPERATURE).tests[test]


def uniform(values: list[float], step_s: int) -> tuple[Ints, Any, Floats]:
    """A series with one step, its times in milliseconds and as the library takes them."""
    times_ms = START_MS + np.arange(len(values), dtype=np.int64) * step_s * 1000
    return times_ms, times_ms.astype("datetime64[ms]"), np.array(values, dtype=np.float64)


@LOOSE
@given(SERIES)
def test_gross_range(values: list[float]) -> None:
    """Everywhere."""
    times_ms, _, array = uniform(values, 10)
    array[::7] = np.nan
    theirs = library("gross_range_test", array, (-5, 60), (24, 26))
    mine = ours("gross", times_ms, array, fail_low=-5, fail_high=60, suspect_low=24, suspect_high=26)
    assert mine.tolist() == theirs.tolist()


@LOOSE
@given(SERIES)
def test_spike(values: list[float]) -> None:
    """Everywhere, where no value is missing."""
    times_ms, _, array = uniform(values, 10)
    theirs = library("spike_test", array, 0.4, 1.5, method="average")
    assert ours("spike", times_ms, array, spike_suspect=0.4, spike_fail=1.5).tolist() == theirs.tolist()


@LOOSE
@given(SERIES, st.lists(st.integers(1, 900), min_size=60, max_size=60))
def test_rate(values: list[float], steps_s: list[int]) -> None:
    """At any whole seconds, all but the first; limits that no sixteenth over whole seconds can meet exactly."""
    array = np.array(values)
    times_ms = START_MS + 1000 * np.cumsum(steps_s[: len(values)]).astype(np.int64)
    per_s, fail_per_s = 0.00337, 0.0513
    theirs = library("rate_of_change_test", array, times_ms.astype("datetime64[ms]"), per_s, fail_per_s)
    mine = ours("rate", times_ms, array, rate_suspect_per_h=per_s * 3600, rate_fail_per_h=fail_per_s * 3600)
    assert mine[1:].tolist() == theirs[1:].tolist()
    assert (mine[0], theirs[0]) == (2, 1)


@LOOSE
@given(st.lists(st.tuples(GRID, st.integers(1, 25)), min_size=1, max_size=12), st.sampled_from([0.03, 0.53]))
def test_flat_line(runs: list[tuple[float, int]], tolerance: float) -> None:
    """At one step, where the past suffices or has already moved; a tolerance that no range meets exactly."""
    values = [value for value, length in runs for _ in range(length)]
    if len(values) < 3:
        values = values * 3
    times_ms, dates, array = uniform(values, 60)
    theirs = library("flat_line_test", array, dates, 300, 900, tolerance)
    mine = ours("flat", times_ms, array, flat_suspect_s=300, flat_fail_s=900, flat_tolerance=tolerance)
    known = mine != 2
    assert mine[known].tolist() == theirs[known].tolist()
    assert set(theirs[~known].tolist()) <= {1}
    assert (np.flatnonzero(~known) < 5).all()


@LOOSE
@given(SERIES, st.lists(st.integers(1, 40), min_size=60, max_size=60))
def test_attenuated_signal(values: list[float], steps_s: list[int]) -> None:
    """At any times, where the window is whole or has already moved."""
    array = np.array(values)
    times_ms = START_MS + 1000 * np.cumsum(steps_s[: len(values)]).astype(np.int64)
    limits = {"suspect_threshold": 0.3, "fail_threshold": 0.05, "test_period": 120, "min_obs": 3, "check_type": "range"}
    theirs = library("attenuated_signal_test", array, times_ms.astype("datetime64[ms]"), **limits)
    ours_limits = {"attenuated_suspect": 0.3, "attenuated_fail": 0.05, "attenuated_window_s": 120.0}
    mine = ours("attenuated", times_ms, array, **ours_limits, attenuated_least=3)
    whole = times_ms - 120_000 >= times_ms[0]
    assert mine[whole].tolist() == theirs[whole].tolist()
    known = mine != 2
    assert mine[known].tolist() == theirs[known].tolist()
