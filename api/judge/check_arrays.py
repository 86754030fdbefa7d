"""The tests on whole arrays: readings of one channel that did not fail by themselves, in rising time.

Each test is the same comparison, in the same order of arithmetic, as in ``check_stream.py``. Must not do: aggregate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from api.domain.checks import RESTLESS_READINGS, RESTLESS_TURNS, CheckLimits
from api.judge.check_windows import NEVER_MS, cell_ms, in_ms
from api.judge.check_words import FAIL, GOOD, HOUR_MS, SUSPECT, UNKNOWN
from api.science.arrays import Bools, Flags, Floats, Ints


@dataclass(frozen=True, slots=True)
class Series:
    """Readings with the number of the first one of each one's stretch (no gap in between)."""

    times_ms: Ints
    values: Floats
    starts: Ints

    @property
    def begins(self) -> Bools:
        """Whether a reading is the first of its stretch."""
        result: Bools = self.starts == np.arange(len(self.starts))
        return result

    def take(self, which: Ints) -> Series:
        """Some of the readings, each stretch's first among them."""
        if len(which) == len(self.values):
            return self
        return Series(self.times_ms[which], self.values[which], np.searchsorted(which, self.starts[which]))


def series(times_ms: Ints, values: Floats, gap_s: float | None) -> Series:
    """Cut a series into stretches."""
    begins = np.ones(len(times_ms), dtype=bool)
    begins[1:] = np.diff(times_ms) > in_ms(gap_s)
    return Series(times_ms, values, last_true(begins))


def last_true(which: Bools) -> Ints:
    """For each place the newest one at or before it where ``which`` is true; 0 where there is none."""
    result: Ints = np.maximum.accumulate(np.where(which, np.arange(len(which)), 0))
    return result


def graded(size: Floats | Ints, suspect: float | None, fail: float | None) -> Flags:
    """FAIL above ``fail``, SUSPECT above ``suspect``."""
    flags = np.full(len(size), GOOD, dtype=np.int8)
    if suspect is not None:
        flags[size > suspect] = SUSPECT
    if fail is not None:
        flags[size > fail] = FAIL
    return flags


def spike(given: Series, limits: CheckLimits) -> Flags:
    """QARTOD test 6, average of the neighbours; UNKNOWN without two neighbours."""
    flags = np.full(len(given.values), UNKNOWN, dtype=np.int8)
    if len(flags) > 2:
        v, begins = given.values, given.begins
        height = np.abs(v[1:-1] - (v[:-2] + v[2:]) / 2)
        flags[1:-1] = graded(height, limits.spike_suspect, limits.spike_fail)
        flags[1:-1][begins[1:-1] | begins[2:]] = UNKNOWN
    return flags


def rates_per_h(given: Series, noise: float) -> Floats:
    """Change from the reading before, less the noise, per hour; 0 for the first of a stretch."""
    rates = np.zeros(len(given.values))
    moved = np.abs(np.diff(given.values)) - noise
    rates[1:] = np.maximum(moved, 0.0) * HOUR_MS / np.diff(given.times_ms)
    rates[given.begins] = 0.0
    return rates


def rate(given: Series, limits: CheckLimits, rates: Floats) -> Flags:
    """QARTOD test 7 with a fixed rate; UNKNOWN for the first of a stretch."""
    flags = graded(rates, limits.rate_suspect_per_h, limits.rate_fail_per_h)
    flags[given.begins] = UNKNOWN
    return flags


def run_starts(given: Series) -> Ints:
    """Where each reading's run of one number begins."""
    changed = given.begins.copy()
    changed[1:] |= given.values[1:] != given.values[:-1]
    return last_true(changed)


def known_stuck(starts: Ints, failed: Bools | None) -> Bools:
    """Whether a reading's run of one number has failed before: nothing but the flat line test fails inside a run."""
    stuck = np.zeros(len(starts), dtype=bool)
    if failed is not None:
        stuck[starts[failed & (starts < np.arange(len(starts)))]] = True
    result: Bools = stuck[starts]
    return result


def flat(given: Series, limits: CheckLimits, starts: Ints, stuck: Bools) -> Flags:
    """QARTOD test 8 in time instead of counts: how long all values have stayed within the tolerance."""
    if limits.flat_tolerance:
        return _within(given, limits)
    run_ms = given.times_ms - given.times_ms[starts]
    flags = np.where(starts > given.starts, GOOD, UNKNOWN).astype(np.int8)
    suspect_ms: Ints | int = in_ms(limits.flat_suspect_s)
    fail_ms: Ints | int = in_ms(limits.flat_fail_s)
    if limits.flat_still_s is not None:
        restless = _restless(given)[starts] | stuck
        suspect_ms = np.where(restless, suspect_ms, in_ms(limits.flat_still_s))
        fail_ms = np.where(restless, fail_ms, NEVER_MS)
    flags[run_ms >= suspect_ms] = SUSPECT
    flags[run_ms >= fail_ms] = FAIL
    return flags


def _restless(given: Series) -> Bools:
    """Whether the stretch turned back by another amount often enough in the last readings up to each."""
    v, turned = given.values, np.zeros(len(given.values), dtype=np.int64)
    earlier, before, now = v[:-2], v[1:-1], v[2:]
    back = ((earlier < before) & (before > now)) | ((earlier > before) & (before < now))
    turned[2:] = back & (now != earlier) & (given.starts[2:] <= np.arange(len(back)))
    total = np.cumsum(turned)
    first = np.maximum(given.starts, np.arange(len(total)) - RESTLESS_READINGS)
    result: Bools = total - total[first] >= RESTLESS_TURNS
    return result


def _within(given: Series, limits: CheckLimits) -> Flags:
    which = sampled(given, in_ms(limits.flat_longest_s))
    part = given.take(which)
    flags = np.full(len(which), GOOD, dtype=np.int8)
    # Later in a stretch, what is not flagged is known to have moved.
    shortest_ms = min(in_ms(limits.flat_suspect_s), in_ms(limits.flat_fail_s))
    spans = [np.flatnonzero(part.times_ms - part.times_ms[part.starts] < shortest_ms)]
    lefts, graded_as = [part.starts[spans[0]]], [UNKNOWN]
    for seconds, flag in ((limits.flat_suspect_s, SUSPECT), (limits.flat_fail_s, FAIL)):
        if seconds is not None:
            left = np.searchsorted(part.times_ms, part.times_ms - in_ms(seconds), side="right") - 1
            whole = np.flatnonzero(left >= part.starts)
            spans.append(whole)
            lefts.append(left[whole])
            graded_as.append(flag)
    for right, extent, flag in zip(spans, ranges(part.values, lefts, spans), graded_as, strict=True):
        flags[right[extent <= limits.flat_tolerance]] = flag
    return spread(flags, which, len(given.values))


def attenuated(given: Series, limits: CheckLimits) -> Flags:
    """QARTOD test 10 by max - min; a window that is not yet whole can only show that the signal moves."""
    window_ms = in_ms(limits.attenuated_window_s)
    which = sampled(given, window_ms)
    part = given.take(which)
    left = window_lefts(part, window_ms)
    (extent,) = ranges(part.values, [left], [np.arange(len(left))])
    suspect, fail = limits.attenuated_suspect or 0.0, limits.attenuated_fail or 0.0
    flags = np.where(extent >= suspect, GOOD, np.where(extent < fail, FAIL, SUSPECT)).astype(np.int8)
    part_whole = part.times_ms[part.starts] <= part.times_ms - window_ms
    flags[~part_whole & (flags != GOOD)] = UNKNOWN
    flags[np.arange(len(left)) - left + 1 < limits.attenuated_least] = UNKNOWN
    return spread(flags, which, len(given.values))


def window_lefts(given: Series, window_ms: int) -> Ints:
    """The first reading of each one's window: later than its time less the window, of the same stretch."""
    left = np.searchsorted(given.times_ms, given.times_ms - window_ms, side="right")
    result: Ints = np.maximum(left, given.starts)
    return result


def sampled(given: Series, window_ms: int) -> Ints:
    """The readings a window looks at: the first of each cell."""
    cells = given.times_ms // cell_ms(window_ms)
    first = given.begins.copy()
    first[1:] |= cells[1:] != cells[:-1]
    return np.flatnonzero(first)


def spread(flags: Flags, which: Ints, count: int) -> Flags:
    """Flags of the readings looked at, for the ones after each as well."""
    if len(which) == count:
        return flags
    return flags[np.searchsorted(which, np.arange(count), side="right") - 1]


def ranges(values: Floats, lefts: list[Ints], rights: list[Ints]) -> list[Floats]:
    """Max - min from each left to its right: two overlapping spans of a power of two, level after level."""
    levels = [np.frexp((right - left + 1).astype(np.float64))[1] - 1 for left, right in zip(lefts, rights, strict=True)]
    results = [np.zeros(len(left)) for left in lefts]
    high, low = values, values
    for power in range(max(int(level.max(initial=0)) for level in levels) + 1):
        for left, right, level, result in zip(lefts, rights, levels, results, strict=True):
            here = np.flatnonzero(level == power)
            if len(here):
                a, b = left[here], right[here] - (1 << power) + 1
                result[here] = np.maximum(high[a], high[b]) - np.minimum(low[a], low[b])
        step = 1 << power
        if step < len(high):
            high, low = np.maximum(high[:-step], high[step:]), np.minimum(low[:-step], low[step:])
    return results


@dataclass(frozen=True, slots=True)
class Company:
    """For each reading the newest one of the probe beside it, and whether that is near enough in time."""

    times_ms: Ints
    values: Floats
    near: Bools


def company_of(given: Series, times_ms: Ints, values: Floats, age_s: float | None) -> Company:
    """The company of each reading, never from after it; company without a value is none."""
    known = np.isfinite(values)
    times_ms, values = times_ms[known], values[known]
    if not len(times_ms):
        count = len(given.times_ms)
        return Company(np.zeros(count, np.int64), np.zeros(count), np.zeros(count, dtype=bool))
    found = np.searchsorted(times_ms, given.times_ms, side="right") - 1
    at = np.maximum(found, 0)
    near = (found >= 0) & (given.times_ms - times_ms[at] <= in_ms(age_s))
    return Company(times_ms[at], values[at], near)


def without_company(given: Series, limits: CheckLimits, rates: Floats, beside: Company) -> Flags:
    """QARTOD tests 9 and 11: SUSPECT when the probe beside it does not move; UNKNOWN when that cannot be said."""
    flags = np.full(len(rates), GOOD, dtype=np.int8)
    quick = np.flatnonzero(rates > (limits.company_rate_per_h or 0.0))
    before = quick - 1
    seen = beside.near[quick] & beside.near[before] & (beside.times_ms[quick] > given.times_ms[before])
    stayed = np.abs(beside.values[quick] - beside.values[before]) <= (limits.company_change or 0.0)
    flags[quick] = np.where(seen, np.where(stayed, SUSPECT, GOOD), UNKNOWN)
    flags[given.begins] = UNKNOWN
    return flags
