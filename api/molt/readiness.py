"""Whether a tank is fit for a molt: each point weighed by itself, and the worst of those that decide says it.

Limits are of the tank's care range as it is for a soft animal; figures of our own are marked. Must not do: call fit
what is not known.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

DAY_MS = 86_400_000


class Verdict(StrEnum):
    """What a review says of a tank."""

    FIT = "fit"
    NOT_KNOWN = "not known"
    FIX_FIRST = "fix first"


ORDER = {Verdict.FIT: 0, Verdict.NOT_KNOWN: 1, Verdict.FIX_FIRST: 2}


class Point(StrEnum):
    """What a review looks at."""

    TEMPERATURE = "temperature"
    SWING = "temperature swing"
    OXYGEN = "oxygen"
    STAGNATION = "moving water"
    GRACE = "time without air"
    HARDNESS = "hardness"
    CALCIUM = "calcium"
    AMMONIA = "ammonia"
    PROBES = "probes"
    COMPANY = "company"
    SHELTER = "shelter"
    DUE = "animals due"


@dataclass(frozen=True, slots=True)
class Finding:
    """One point of a tank. ``task`` says what to do about it, ``lead_d`` how many days before the first molt [d].

    ``decides``: it counts for the tank's verdict; the rest is only told.
    """

    point: Point
    verdict: Verdict
    words: str
    task: str = ""
    lead_d: float = 0.0
    decides: bool = True


@dataclass(frozen=True, slots=True)
class Task:
    """A line of the checklist: what to do in which tank by when. [ms]"""

    tank: str
    by_ms: int
    point: Point
    words: str


@dataclass(frozen=True, slots=True)
class Reviewed:
    """A tank's review. ``first_ms``: when the first of its animals may molt, None when none is due in the span."""

    tank: str
    verdict: Verdict
    findings: tuple[Finding, ...]
    first_ms: int | None
    tasks: tuple[Task, ...]


def reviewed(tank: str, findings: Iterable[Finding], first_ms: int | None, start_ms: int, now_ms: int) -> Reviewed:
    """A tank's verdict and its dated tasks; what should have been done by now is due now."""
    found = tuple(sorted(findings, key=lambda one: (-ORDER[one.verdict], not one.decides)))
    verdict = max((one.verdict for one in found if one.decides), key=ORDER.__getitem__, default=Verdict.NOT_KNOWN)
    begin_ms = start_ms if first_ms is None else max(first_ms, start_ms)
    tasks = [
        Task(tank, max(now_ms, begin_ms - round(one.lead_d * DAY_MS)), one.point, one.task) for one in found if one.task
    ]
    return Reviewed(tank, verdict, found, first_ms, tuple(sorted(tasks, key=lambda one: one.by_ms)))
