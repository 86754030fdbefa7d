"""Limits of the quality checks of one probe's one quantity: what counts as impossible, unlikely, stuck or alone.

Values are in the quantity's canonical unit. Must not do: check (``api/judge/check_*``) or know a quantity's numbers.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import pairwise
from math import isfinite

from api.domain.errors import InputError

RESTLESS_READINGS, RESTLESS_TURNS = 64, 6
"""A probe is restless when it turned back by another amount (25.31, 25.34, 25.32) at least so often in so many
readings. A coarse probe flickers between two numbers and never does; the scatter of a fine one does so three times in
ten. What is restless does not say one number for half an hour by chance (judgement, tried on the simulated room)."""

TESTS = ("gross", "gap", "spike", "rate", "flat", "attenuated", "company")
"""Names of the tests, in the order their reasons are told. QARTOD: 4, 1, 6, 7, 8, 10, 9 with 11."""
RISING = (
    ("fail_low", "suspect_low", "suspect_high", "fail_high"),
    ("spike_suspect", "spike_fail"),
    ("rate_suspect_per_h", "rate_fail_per_h"),
    ("flat_suspect_s", "flat_fail_s", "flat_still_s"),
    ("attenuated_fail", "attenuated_suspect"),
)
"""Limits that must not fall along a line."""
TOGETHER = (
    ("attenuated_window_s", "attenuated_suspect"),
    ("company_rate_per_h", "company_change", "company_age_s"),
)
"""Limits that say nothing without each other."""
NEED_GAP = ("spike_suspect", "spike_fail", "rate_suspect_per_h", "rate_fail_per_h", "flat_suspect_s", "flat_fail_s",
            "attenuated_window_s", "company_rate_per_h")  # fmt: skip
MAY_BE_NEGATIVE = RISING[0]
MAY_BE_ZERO = ("spike_suspect", "spike_fail", "rate_suspect_per_h", "rate_fail_per_h", "flat_tolerance", "noise",
               "attenuated_fail", "company_rate_per_h", "company_change")  # fmt: skip


@dataclass(frozen=True, slots=True)
class CheckLimits:
    """Limits of every test; None leaves a test out, and a channel without a gross range is never GOOD.

    ``noise`` is a change between two readings that means nothing; the rate and company tests take it off first.
    ``flat_still_s`` keeps the shorter flat times for restless probes: one that repeats itself anyway (coarse steps,
    still water) may say the same for so long before it is suspect. ``attenuated_*`` are ranges, max - min.
    ``company_change`` is in the unit of the probe that keeps it company.

    Raises InputError when the limits contradict each other.
    """

    fail_low: float | None = None
    fail_high: float | None = None
    suspect_low: float | None = None
    suspect_high: float | None = None
    spike_suspect: float | None = None
    spike_fail: float | None = None
    rate_suspect_per_h: float | None = None
    rate_fail_per_h: float | None = None
    noise: float = 0.0
    flat_tolerance: float = 0.0
    flat_suspect_s: float | None = None
    flat_fail_s: float | None = None
    flat_still_s: float | None = None
    gap_s: float | None = None
    attenuated_window_s: float | None = None
    attenuated_suspect: float | None = None
    attenuated_fail: float | None = None
    attenuated_least: int = 2
    company_rate_per_h: float | None = None
    company_change: float | None = None
    company_age_s: float | None = None

    def __post_init__(self) -> None:
        given = self.given()
        for name, limit in given.items():
            if not isfinite(limit):
                raise InputError(f"{name} is {limit}, not a finite number")
            if limit < 0 and name not in MAY_BE_NEGATIVE:
                raise InputError(f"{name} is {limit:g}; it cannot be negative")
            if limit == 0 and name not in (*MAY_BE_NEGATIVE, *MAY_BE_ZERO):
                raise InputError(f"{name} is 0; it must be more")
        for line in RISING:
            for lower, upper in pairwise([name for name in line if name in given]):
                if given[lower] > given[upper]:
                    raise InputError(
                        f"{lower} {given[lower]:g} is above {upper} {given[upper]:g}: {_why(lower, upper)}"
                    )
        if self.attenuated_fail is not None and self.attenuated_fail == self.attenuated_suspect:
            raise InputError("attenuated_fail equals attenuated_suspect; a signal fails when it moves even less")
        for group in TOGETHER:
            missing = [name for name in group if name not in given]
            if missing and len(missing) < len(group):
                raise InputError(f"{group[0]}: also give {', '.join(missing)}; they say nothing without each other")
        self._check_flat(given)
        first = next((name for name in NEED_GAP if name in given), None)
        if first is not None and self.gap_s is None:
            raise InputError(f"{first} needs gap_s: without it nobody can say which readings are neighbours")

    def _check_flat(self, given: dict[str, float]) -> None:
        if self.attenuated_least != int(self.attenuated_least):
            raise InputError(f"attenuated_least is {self.attenuated_least:g}; it is a number of readings")
        if "attenuated_fail" in given and "attenuated_window_s" not in given:
            raise InputError("attenuated_fail: also give attenuated_window_s and attenuated_suspect")
        if self.flat_still_s is not None:
            if self.flat_suspect_s is None or self.flat_fail_s is None:
                raise InputError("flat_still_s: also give flat_suspect_s and flat_fail_s")
            if self.flat_tolerance:
                raise InputError("flat_still_s is about saying exactly the same; it needs flat_tolerance 0")

    def given(self) -> dict[str, float]:
        """The limits that are set, by name."""
        named = ((field.name, getattr(self, field.name)) for field in fields(self))
        return {name: limit for name, limit in named if limit is not None}

    @property
    def tests(self) -> tuple[str, ...]:
        """Which tests are asked for; the gross range always is."""
        asked = {
            "gross": True,
            "gap": self.gap_s is not None,
            "spike": self.spike_suspect is not None or self.spike_fail is not None,
            "rate": self.rate_suspect_per_h is not None or self.rate_fail_per_h is not None,
            "flat": self.flat_suspect_s is not None or self.flat_fail_s is not None,
            "attenuated": self.attenuated_window_s is not None,
            "company": self.company_rate_per_h is not None,
        }
        return tuple(name for name in TESTS if asked[name])

    @property
    def flat_longest_s(self) -> float:
        """Beyond this it does not matter how long a probe has said the same. [s]"""
        return max(self.flat_suspect_s or 0.0, self.flat_fail_s or 0.0, self.flat_still_s or 0.0)

    @property
    def past_s(self) -> float:
        """How far before its newest reading a channel's past matters to the next one. [s]"""
        gap_s = self.gap_s or 0.0
        evidence_s = (self.flat_fail_s or 0.0) + (RESTLESS_READINGS + 2) * gap_s if self.flat_still_s else 0.0
        return 2 * gap_s + max(self.flat_longest_s, self.attenuated_window_s or 0.0, evidence_s)


def _why(lower: str, upper: str) -> str:
    if lower in MAY_BE_NEGATIVE:
        return "suspect limits lie inside fail limits, low below high"
    if lower.startswith("attenuated"):
        return "a signal that moves less is worse, so fail lies below suspect"
    return "what is suspect comes before what fails" if "still" not in upper else "a still probe is given more time"
