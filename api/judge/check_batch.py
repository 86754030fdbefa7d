"""Quality checks of a whole series at once: the flags and reasons its readings would have got one by one.

Pure NumPy. Must not do: read readings from a store, or repair a value.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from api.domain.checks import CheckLimits
from api.domain.quantity import Quantity
from api.judge import check_arrays as arrays
from api.judge.check_arrays import Series
from api.judge.check_windows import cell_ms, in_ms
from api.judge.check_words import FAIL, GOOD, MISSING, SUSPECT, UNKNOWN, Findings, tell
from api.science.arrays import Bools, Flags, Floats, Ints


@dataclass(frozen=True, slots=True)
class Checked:
    """Flags of a series: of all tests together, and of each test by its name in ``domain/checks.TESTS``.

    In ``tests`` a reading that a test did not look at is UNKNOWN, or MISSING where it has no value.
    """

    flags: Flags
    tests: Mapping[str, Flags]
    _source: _Source = field(repr=False)

    @property
    def believed(self) -> Ints:
        """The places of the readings that did not fail by themselves."""
        return self._source.places

    def reason(self, index: int) -> str:
        """Why a reading has its flag; empty when it is good."""
        return tell(self._source.limits, self._source.quantity, self._source.findings(index, self.tests))[1]


@dataclass(frozen=True, slots=True)
class _Source:
    """What the reasons are told from.

    ``places``: where each believed reading stands in the whole series; ``runs``: where its run of one number begins;
    ``stuck``: whether the run is known to have failed.
    """

    limits: CheckLimits
    quantity: Quantity
    times_ms: Ints
    values: Floats
    bases: Flags
    base_reasons: Sequence[str] | None
    late: Bools
    silences_ms: Ints
    places: Ints
    believed: Series
    runs: Ints
    stuck: Bools

    def findings(self, index: int, tests: Mapping[str, Flags]) -> Findings:
        """What was found of one reading, as the stream would have noted it."""
        time_ms, value = int(self.times_ms[index]), float(self.values[index])
        missing = not np.isfinite(value) or self.bases[index] == MISSING
        found = Findings(time_ms, None if missing else value, int(self.bases[index]))
        found.base_reason = self.base_reasons[index] if self.base_reasons is not None else ""
        if missing:
            return found
        found.gross, found.late = int(tests["gross"][index]), bool(self.late[index])
        at = int(np.searchsorted(self.places, index, side="right")) - 1
        if found.late:
            return found
        if at < 0 or self.places[at] != index:
            if at >= 0 and time_ms - int(self.believed.times_ms[at]) <= in_ms(self.limits.past_s):
                found.before_ms, found.before = int(self.believed.times_ms[at]), float(self.believed.values[at])
            return found
        silence_ms = int(self.silences_ms[index])
        found.silence_ms = None if silence_ms < 0 else silence_ms
        for test in ("gap", "spike", "rate", "flat", "attenuated", "company"):
            if test in tests:
                setattr(found, test, int(tests[test][index]))
        self._neighbours(found, at, "spike" in tests)
        return found

    def _neighbours(self, found: Findings, at: int, spike: bool) -> None:
        given, limits = self.believed, self.limits
        start = int(given.starts[at])
        if at > start:
            found.before_ms, found.before = int(given.times_ms[at - 1]), float(given.values[at - 1])
        if at + 1 < len(given.values):
            found.after = float(given.values[at + 1])
        elif spike and not self._over(found.time_ms):
            found.spike, found.waiting = 0, True
        if found.flat in (SUSPECT, FAIL):
            found.run_ms = self._run_ms(at, start)
        if found.attenuated in (SUSPECT, FAIL):
            part, last = self._looked_at(at, start, in_ms(limits.attenuated_window_s))
            window = part.values[part.times_ms > int(part.times_ms[last]) - in_ms(limits.attenuated_window_s)]
            found.extent = float(np.ptp(window))

    def _over(self, time_ms: int) -> bool:
        """Whether the channel has gone on so long after a reading that no neighbour can come any more."""
        newest_ms = int(self.times_ms[~self.late].max())
        return newest_ms - time_ms > in_ms(self.limits.gap_s)

    def _run_ms(self, at: int, start: int) -> int:
        if not self.limits.flat_tolerance:
            return int(self.believed.times_ms[at] - self.believed.times_ms[self.runs[at]])
        part, last = self._looked_at(at, start, in_ms(self.limits.flat_longest_s))
        back = part.values[::-1]
        within = np.maximum.accumulate(back) - np.minimum.accumulate(back) <= self.limits.flat_tolerance
        length = len(back) if within.all() else int(np.argmin(within))
        return int(part.times_ms[last] - part.times_ms[last - length + 1])

    def _looked_at(self, at: int, start: int, window_ms: int) -> tuple[Series, int]:
        """The readings up to one, of its stretch, that a window looks at, and the place of the last."""
        times_ms, cell = self.believed.times_ms, cell_ms(window_ms)
        # From the first reading of the cell of the last one that is older than the window.
        older = int(np.searchsorted(times_ms, int(times_ms[at]) - window_ms - cell, side="right")) - 1
        first = int(np.searchsorted(times_ms, int(times_ms[max(older, 0)]) // cell * cell))
        rows = slice(max(start, first), at + 1)
        stretch = Series(times_ms[rows], self.believed.values[rows], np.zeros(at + 1 - rows.start, dtype=np.int64))
        part = stretch.take(arrays.sampled(stretch, window_ms))
        return part, len(part.values) - 1


def check(
    times_ms: Ints,
    values: Floats,
    limits: CheckLimits,
    quantity: Quantity,
    base_flags: Flags | None = None,
    base_reasons: Sequence[str] | None = None,
    company_times_ms: Ints | None = None,
    company_values: Floats | None = None,
    known_failed: Bools | None = None,
) -> Checked:
    """Check a series of one channel, NaN where a reading has no value.

    ``base_*`` is what is held against a reading before these tests; company is the series of the probe beside it.
    ``known_failed``: readings at the beginning that were checked before, with more of the past, and failed.
    """
    times_ms, values = np.asarray(times_ms, np.int64), np.asarray(values, np.float64)
    bases = np.full(len(values), GOOD, np.int8) if base_flags is None else np.asarray(base_flags, np.int8)
    missing = ~np.isfinite(values) | (bases == MISSING)
    newest_ms = np.maximum.accumulate(times_ms)
    late = np.zeros(len(values), dtype=bool)
    late[1:] = times_ms[1:] <= newest_ms[:-1]
    silences_ms = np.full(len(values), -1, dtype=np.int64)
    silences_ms[1:] = times_ms[1:] - newest_ms[:-1]
    by_span = gross(values, limits)
    failed = missing | (bases >= FAIL) | (by_span == FAIL)
    places = np.flatnonzero(~late & ~failed)
    believed = arrays.series(times_ms[places], values[places], limits.gap_s)
    runs = arrays.run_starts(believed)
    stuck = arrays.known_stuck(runs, None if known_failed is None else known_failed[places])
    source = _Source(
        limits, quantity, times_ms, values, bases, base_reasons, late, silences_ms, places, believed, runs, stuck
    )
    company = None if company_times_ms is None or company_values is None else (company_times_ms, company_values)
    found = _tests(source, company)
    tests = {"gross": np.where(missing, MISSING, by_span).astype(np.int8)}
    flags = np.maximum(bases, by_span)
    flags[late] = np.maximum(flags[late], UNKNOWN)
    for name, result in found.items():
        tests[name] = np.where(missing, MISSING, UNKNOWN).astype(np.int8)
        tests[name][places] = result
        flags[places] = np.maximum(flags[places], result)
    flags[missing] = np.where((bases == FAIL) | (bases == MISSING), bases, MISSING)[missing]
    return Checked(flags, tests, source)


def gross(values: Floats, limits: CheckLimits) -> Flags:
    """QARTOD test 4; bounds belong inside; UNKNOWN where no span is known."""
    spans = ((limits.suspect_low, limits.suspect_high, SUSPECT), (limits.fail_low, limits.fail_high, FAIL))
    known = any(limit is not None for low, high, _ in spans for limit in (low, high))
    flags = np.full(len(values), GOOD if known else UNKNOWN, dtype=np.int8)
    for low, high, flag in spans:
        if low is not None:
            flags[values < low] = flag
        if high is not None:
            flags[values > high] = flag
    return flags


def _tests(source: _Source, company: tuple[Ints, Floats] | None) -> dict[str, Flags]:
    """Every test that is asked for, on the believed readings."""
    given, limits = source.believed, source.limits
    asked = limits.tests[1:]
    found: dict[str, Flags] = {}
    if "gap" in asked:
        silences_ms = source.silences_ms[source.places]
        gap = (silences_ms < 0) | (silences_ms > in_ms(limits.gap_s))
        found["gap"] = np.where(gap, UNKNOWN, GOOD).astype(np.int8)
    if "spike" in asked:
        found["spike"] = arrays.spike(given, limits)
    rates = arrays.rates_per_h(given, limits.noise) if "rate" in asked or "company" in asked else given.values
    if "rate" in asked:
        found["rate"] = arrays.rate(given, limits, rates)
    if "flat" in asked:
        found["flat"] = arrays.flat(given, limits, source.runs, source.stuck)
    if "attenuated" in asked:
        found["attenuated"] = arrays.attenuated(given, limits)
    if "company" in asked:
        times_ms, values = company or (np.zeros(0, np.int64), np.zeros(0))
        beside = arrays.company_of(given, times_ms, values, limits.company_age_s)
        found["company"] = arrays.without_company(given, limits, rates, beside)
    return found
