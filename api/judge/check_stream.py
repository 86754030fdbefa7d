"""Quality checks of one channel as its readings come: each reading's flag as known now, and the one before, settled.

A spike shows only between two neighbours, so the newest reading is NOT_EVALUATED until the next one (QARTOD test 6).
Pure, a fixed amount of memory. Must not do: look at a clock, or let a reading that failed spoil its neighbours.
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf
from typing import NamedTuple

from api.domain.checks import CheckLimits
from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.judge.check_windows import NEVER_MS, Extent, Run, Steady, in_ms
from api.judge.check_words import (
    FAIL,
    GOOD,
    HOUR_MS,
    MISSING,
    NEWEST,
    SUSPECT,
    UNKNOWN,
    Findings,
    gross_of,
    spike_height,
    tell,
)


class Revised(NamedTuple):
    """What an earlier reading has become, now that its neighbours are known."""

    time_ms: int
    flag: Flag
    reason: str


class Step(NamedTuple):
    """A reading's flag and reason as known now. ``waiting``: good in all but the spike test, which is still to come."""

    flag: Flag
    reason: str
    revised: Revised | None = None
    waiting: bool = False


Company = Callable[[int], tuple[int, float] | None]
"""Asked for a time: the newest reading of the probe beside this one that is not later."""
_WAITING = Findings(0, 0.0)
"""Stands for an earlier reading that is good in all but the spike test."""


class Stream:
    """The checks of one channel, and what they remember of its past.

    ``before_ms``: the newest reading that the tests believe; ``quick_ms``: the newest one asked whether it moved alone.
    """

    __slots__ = (
        "_age_ms", "_attenuated", "_attenuated_limits", "_before", "_company_change",
        "_company_per_h", "_extent", "_fail_high", "_fail_low", "_flat", "_flat_fail_ms", "_flat_still_ms",
        "_flat_suspect_ms", "_gap_ms", "_high", "_inside", "_last_ms", "_limits", "_low", "_noise", "_past_ms",
        "_pending", "_prev", "_quantity", "_rate_fail", "_rate_suspect", "_run", "_spike_fail", "_spike_suspect",
        "_start_ms", "_tests", "_told", "before_ms", "quick_ms",
    )  # fmt: skip

    def __init__(self, limits: CheckLimits, quantity: Quantity) -> None:
        self._limits, self._quantity = limits, quantity
        self._tests = frozenset(limits.tests)
        self._set_values(limits)
        self._set_times(limits)
        self._last_ms = self.before_ms = self._start_ms = self.quick_ms = -NEVER_MS
        self._before = 0.0
        self._prev: float | None = None
        self._pending: Findings | None = None
        self._told: tuple[Flag, str] = (Flag.GOOD, "")
        self._flat = self._attenuated = 0

    def _set_values(self, limits: CheckLimits) -> None:
        self._fail_low, self._fail_high = _or(limits.fail_low, -inf), _or(limits.fail_high, inf)
        self._low, self._high = _or(limits.suspect_low, self._fail_low), _or(limits.suspect_high, self._fail_high)
        spans = (limits.fail_low, limits.fail_high, limits.suspect_low, limits.suspect_high)
        self._inside = UNKNOWN if all(limit is None for limit in spans) else GOOD
        self._spike_suspect = _or(limits.spike_suspect, inf)
        self._spike_fail = _or(limits.spike_fail, inf)
        self._rate_suspect = _or(limits.rate_suspect_per_h, inf)
        self._rate_fail = _or(limits.rate_fail_per_h, inf)
        self._company_per_h = _or(limits.company_rate_per_h, inf)
        self._company_change, self._noise = limits.company_change, limits.noise

    def _set_times(self, limits: CheckLimits) -> None:
        self._gap_ms, self._past_ms = in_ms(limits.gap_s), in_ms(limits.past_s)
        self._age_ms = in_ms(limits.company_age_s)
        self._flat_suspect_ms, self._flat_fail_ms = in_ms(limits.flat_suspect_s), in_ms(limits.flat_fail_s)
        self._flat_still_ms = None if limits.flat_still_s is None else in_ms(limits.flat_still_s)
        self._run: Run | Steady | None = None
        if "flat" in self._tests:
            tolerance = limits.flat_tolerance
            self._run = Steady(tolerance, in_ms(limits.flat_longest_s)) if tolerance else Run()
        self._extent: Extent | None = None
        self._attenuated_limits = (_or(limits.attenuated_suspect, 0.0), _or(limits.attenuated_fail, 0.0), 0)
        if limits.attenuated_window_s is not None:
            window_ms = in_ms(limits.attenuated_window_s)
            self._extent = Extent(window_ms, int(limits.attenuated_least))
            self._attenuated_limits = (*self._attenuated_limits[:2], window_ms)

    def step(
        self,
        time_ms: int,
        value: float | None,
        base: Flag = Flag.GOOD,
        base_reason: str = "",
        company: Company | None = None,
    ) -> Step:
        """Check the next reading. ``company`` is asked only when it matters."""
        since_ms = self._last_ms
        if time_ms <= since_ms:
            return self._out_of_order(time_ms, value, base, base_reason)
        self._last_ms = time_ms
        if value is None or base >= FAIL or value - value != 0.0:
            return self._unusable(time_ms, value, base, base_reason)
        if self._low <= value <= self._high:
            gross = self._inside
        elif self._fail_low <= value <= self._fail_high:
            gross = SUSPECT
        else:
            return self._unusable(time_ms, value, base, base_reason)
        near = time_ms - self.before_ms <= self._gap_ms
        revised = None
        if self._pending is not None:
            revised = self._settle(value if near else None)
        if near:
            rate, alone = self._compare(time_ms, value, company)
        else:
            rate, alone = self._begin(time_ms)
        flat = self._flat_line(time_ms, value)
        attenuated = self._attenuation(time_ms, value)
        plain = base == GOOD and gross == GOOD and near and rate < UNKNOWN and alone < UNKNOWN
        if plain and flat < UNKNOWN and attenuated < UNKNOWN:
            found = None
        else:
            found = Findings(time_ms, value, int(base), base_reason, gross, rate=rate, flat=flat, attenuated=attenuated)
            found.company = alone
            self._look_back(found, since_ms, near)
        return self._tell(time_ms, value, near, found, revised)

    @property
    def run_start_ms(self) -> int:
        """Since when the probe has said the same number, as far as is known."""
        return self._run.start_ms if self._run else 0

    def recall_restless(self) -> None:
        """What was known before a restart: until this run of one number the probe had been restless."""
        if self._run:
            self._run.restless = True

    def _tell(
        self,
        time_ms: int,
        value: float,
        near: bool,
        found: Findings | None,
        revised: Revised | None,
    ) -> Step:
        """Remember the reading as the one before the next, and say its flag."""
        waits = "spike" in self._tests
        self._prev = self._before if near else None
        self.before_ms, self._before = time_ms, value
        if found is None:
            if not waits:
                return Step(Flag.GOOD, "", revised)
            self._pending = _WAITING
            return Step(Flag.NOT_EVALUATED, NEWEST, revised, waiting=True)
        found.waiting = waits
        told = tell(self._limits, self._quantity, found)
        if waits:
            self._pending, self._told = found, told
        return Step(told[0], told[1], revised)

    def _look_back(self, found: Findings, since_ms: int, near: bool) -> None:
        """Note the numbers that the words need."""
        found.silence_ms = None if since_ms == -NEVER_MS else found.time_ms - since_ms
        if "gap" in self._tests:
            found.gap = UNKNOWN if found.silence_ms is None or found.silence_ms > self._gap_ms else GOOD
        if near:
            found.before_ms, found.before = self.before_ms, self._before
        found.run_ms = self._run.run_ms if self._run else 0
        found.extent = self._extent.range if self._extent else 0.0

    def _begin(self, time_ms: int) -> tuple[int, int]:
        """A new stretch: nothing before it is near enough."""
        self._start_ms = time_ms
        if self._run:
            self._run.begin()
        if self._extent:
            self._extent.begin()
        return UNKNOWN if "rate" in self._tests else 0, UNKNOWN if "company" in self._tests else 0

    def _compare(self, time_ms: int, value: float, company: Company | None) -> tuple[int, int]:
        """The rate test, and the rate test without company."""
        moved = abs(value - self._before) - self._noise
        if moved <= 0.0:
            return GOOD, GOOD
        per_h = moved * HOUR_MS / (time_ms - self.before_ms)
        rate = FAIL if per_h > self._rate_fail else SUSPECT if per_h > self._rate_suspect else GOOD
        if per_h <= self._company_per_h or self._company_change is None:
            return rate, GOOD
        self.quick_ms = time_ms
        now, was = self._near(time_ms, company), self._near(self.before_ms, company)
        if now is None or was is None or now[0] <= self.before_ms:
            return rate, UNKNOWN
        return rate, SUSPECT if abs(now[1] - was[1]) <= self._company_change else GOOD

    def _near(self, time_ms: int, company: Company | None) -> tuple[int, float] | None:
        found = company(time_ms) if company is not None else None
        return found if found is not None and 0 <= time_ms - found[0] <= self._age_ms else None

    def _flat_line(self, time_ms: int, value: float) -> int:
        run = self._run
        if run is None:
            return 0
        if run.add(time_ms, value):
            suspect_ms, fail_ms = self._flat_suspect_ms, self._flat_fail_ms
            if self._flat_still_ms is not None and not run.restless:
                suspect_ms, fail_ms = self._flat_still_ms, NEVER_MS
            if run.run_ms >= fail_ms:
                self._flat = FAIL
            elif run.run_ms >= suspect_ms:
                self._flat = SUSPECT
            else:
                self._flat = GOOD if run.moved else UNKNOWN
        return self._flat

    def _attenuation(self, time_ms: int, value: float) -> int:
        extent = self._extent
        if extent is None:
            return 0
        if extent.add(time_ms, value):
            suspect, fail, window_ms = self._attenuated_limits
            if not extent.enough(time_ms):
                self._attenuated = UNKNOWN
            elif extent.range >= suspect:
                self._attenuated = GOOD
            elif self._start_ms > time_ms - window_ms:
                self._attenuated = UNKNOWN
            else:
                self._attenuated = FAIL if extent.range < fail else SUSPECT
        return self._attenuated

    def _settle(self, after: float | None) -> Revised | None:
        """The spike test of the reading before, and what has become of it."""
        found, self._pending = self._pending, None
        if found is None:
            return None
        prev = self._prev
        if after is None or prev is None:
            spike = UNKNOWN
        else:
            height = spike_height(prev, self._before, after)
            spike = FAIL if height > self._spike_fail else SUSPECT if height > self._spike_suspect else GOOD
        if found is _WAITING:
            if spike == GOOD:
                return Revised(self.before_ms, Flag.GOOD, "")
            found = Findings(self.before_ms, self._before, gross=GOOD, before=prev)
            self._told = (Flag.NOT_EVALUATED, NEWEST)
        found.spike, found.after, found.waiting = spike, after, False
        told = tell(self._limits, self._quantity, found)
        return None if told == self._told else Revised(self.before_ms, *told)

    def _unusable(self, time_ms: int, value: float | None, base: Flag, base_reason: str) -> Step:
        """A reading that failed by itself: no other test is run, and none sees it."""
        revised = None
        if self._pending is not None and time_ms - self.before_ms > self._gap_ms:
            revised = self._settle(None)
        found = self._by_itself(time_ms, value, base, base_reason)
        if time_ms - self.before_ms <= self._past_ms:
            found.before_ms, found.before = self.before_ms, self._before
        return Step(*tell(self._limits, self._quantity, found), revised)

    def _out_of_order(self, time_ms: int, value: float | None, base: Flag, base_reason: str) -> Step:
        found = self._by_itself(time_ms, value, base, base_reason)
        found.late = True
        return Step(*tell(self._limits, self._quantity, found))

    def _by_itself(self, time_ms: int, value: float | None, base: Flag, base_reason: str) -> Findings:
        if value is None or base == MISSING or value - value != 0.0:
            return Findings(time_ms, None, int(base), base_reason)
        return Findings(time_ms, value, int(base), base_reason, gross_of(self._limits, value))


def _or(limit: float | None, otherwise: float) -> float:
    return otherwise if limit is None else limit
