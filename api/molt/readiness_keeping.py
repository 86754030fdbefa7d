"""The points of a review that a keeper's own record answers: test-kit values, probes, company, shelter, animals due.

Must not do: read anything, or take an old test for today's water.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from api.domain.quantity import Quantity
from api.domain.words import duration
from api.molt.readiness import DAY_MS, Finding, Point, Verdict
from api.science.ammonia import chronic_criterion_mg_l

FRESH_D = {Quantity.HARDNESS: 14.0, Quantity.CALCIUM: 14.0, Quantity.AMMONIA: 7.0, Quantity.PH: 14.0}
"""How old a test may be: judgement. [d]"""
LEAST_HARDNESS_MG_L = 50.0
"""Shell and molting problems below (Queensland red claw guide, as in ``api/science/criteria.py``). [mg/L as CaCO3]"""
GOOD_HARDNESS_MG_L = 100.0
"""Growth and survival of P. clarkii rise with hardness to 200 mg/L (Southeastern Association 1969). [mg/L as CaCO3]"""
LEAST_CALCIUM_MG_L = 20.0
"""The calcium of that hardness, were all of it calcium: 50 / 2.497. [mg/L]"""
SAFE_PH = 8.0
"""Taken where no pH is known: the criterion falls as pH rises, and few tanks lie above. Judgement."""
MOST_FLAGGED = 0.05
"""Judgement. [1]"""


@dataclass(frozen=True, slots=True)
class Sampled:
    """A value and when it was taken, by kit or probe, in the canonical unit."""

    value: float
    time_ms: int


@dataclass(frozen=True, slots=True)
class ProbeState:
    """A probe of the tank: share of its last week's readings that is doubtful, whether it is due, whether it speaks."""

    name: str
    flagged: float
    due: bool
    quiet: bool


@dataclass(frozen=True, slots=True)
class DueAnimal:
    """An animal that may molt in the span: its chance to [1], and when its window opens."""

    name: str
    chance: float
    from_ms: int | None


def hardness_findings(hardness: Sampled | None, calcium: Sampled | None, now_ms: int) -> tuple[Finding, ...]:
    """Hardness, and calcium where it was tested; one of the two fresh is enough to know."""
    soft = _fresh(hardness, Quantity.HARDNESS, now_ms)
    lime = _fresh(calcium, Quantity.CALCIUM, now_ms)
    return (
        _hardness(hardness, soft, lime is not None, now_ms),
        _calcium(calcium, lime, soft is not None, now_ms),
    )


def _hardness(kept: Sampled | None, fresh: Sampled | None, other: bool, now_ms: int) -> Finding:
    if fresh is None:
        return _untested(Point.HARDNESS, kept, now_ms, decides=not other)
    words = f"hardness {fresh.value:.0f} mg/L as CaCO3, {_ago(fresh, now_ms)}"
    if fresh.value < LEAST_HARDNESS_MG_L:
        task = f"Raise hardness above {GOOD_HARDNESS_MG_L:.0f} mg/L over several days (limestone, or calcium salts)."
        return Finding(Point.HARDNESS, Verdict.FIX_FIRST, words, task, 5.0)
    if fresh.value < GOOD_HARDNESS_MG_L:
        return Finding(Point.HARDNESS, Verdict.FIT, f"{words}; 100 to 200 is better")
    return Finding(Point.HARDNESS, Verdict.FIT, words)


def _calcium(kept: Sampled | None, fresh: Sampled | None, other: bool, now_ms: int) -> Finding:
    if fresh is None:
        return _untested(Point.CALCIUM, kept, now_ms, decides=not other)
    words = f"calcium {fresh.value:.0f} mg/L, {_ago(fresh, now_ms)}"
    if fresh.value < LEAST_CALCIUM_MG_L:
        return Finding(
            Point.CALCIUM, Verdict.FIX_FIRST, words, "Put calcium into water and food, over several days.", 5.0
        )
    return Finding(Point.CALCIUM, Verdict.FIT, words)


def ammonia_finding(ammonia: Sampled | None, ph: Sampled | None, temperature_c: float | None, now_ms: int) -> Finding:
    """Total ammonia beside the chronic criterion of EPA 2013 at the tank's pH and temperature."""
    fresh = _fresh(ammonia, Quantity.AMMONIA, now_ms)
    if fresh is None:
        return _untested(Point.AMMONIA, ammonia, now_ms, decides=True)
    known = _fresh(ph, Quantity.PH, now_ms)
    at_ph = min(9.0, max(6.5, known.value if known is not None else SAFE_PH))
    at_c = min(30.0, max(0.0, temperature_c if temperature_c is not None else 28.0))
    limit = float(chronic_criterion_mg_l(at_ph, at_c))
    guess = "" if known is not None else f" (pH not known, {SAFE_PH:g} taken)"
    words = f"total ammonia {fresh.value:.2f} mg/L as N, {_ago(fresh, now_ms)}; criterion {limit:.2f}{guess}"
    if fresh.value > limit:
        task = "Find what feeds it (dead animal, food left), change a little water each day, test again."
        return Finding(Point.AMMONIA, Verdict.FIX_FIRST, words, task, 3.0)
    return Finding(Point.AMMONIA, Verdict.FIT, words)


def _untested(point: Point, kept: Sampled | None, now_ms: int, *, decides: bool) -> Finding:
    words = f"{point} was never tested" if kept is None else f"{point} was last tested {_ago(kept, now_ms)}"
    return Finding(point, Verdict.NOT_KNOWN, words, f"Test {point} and enter it." if decides else "", 5.0, decides)


def probes_finding(probes: Sequence[ProbeState]) -> Finding:
    """Whether the tank's probes can be believed."""
    if not probes:
        return Finding(Point.PROBES, Verdict.NOT_KNOWN, "no probe is in this tank", "Put a probe into the tank.", 7.0)
    quiet = [one.name for one in probes if one.quiet]
    doubtful = [f"{one.name} ({100 * one.flagged:.0f} % doubtful)" for one in probes if one.flagged > MOST_FLAGGED]
    due = [one.name for one in probes if one.due]
    said = [
        f"quiet: {', '.join(quiet)}" if quiet else "",
        f"doubtful in the last 7 days: {', '.join(doubtful)}" if doubtful else "",
        f"due to be compared: {', '.join(due)}" if due else "",
    ]
    words = "; ".join(one for one in said if one)
    if not words:
        return Finding(Point.PROBES, Verdict.FIT, "probes speak, agree with their checks and are calibrated")
    verdict = Verdict.FIX_FIRST if quiet or doubtful else Verdict.NOT_KNOWN
    return Finding(Point.PROBES, verdict, words, "Clean the probes, compare them, enter the calibration.", 4.0)


def company_finding(animals: int, soft: int, due: Sequence[DueAnimal]) -> Finding:
    """Whether the soft will be alone."""
    if animals == 0:
        return Finding(Point.COMPANY, Verdict.FIT, "no animal on record in this tank", decides=False)
    if animals == 1:
        return Finding(Point.COMPANY, Verdict.FIT, "one animal, alone")
    names = ", ".join(one.name for one in due)
    words = f"{animals} animals together{f', {soft} soft now' if soft else ''}{f'; due: {names}' if names else ''}"
    if not due and not soft:
        return Finding(Point.COMPANY, Verdict.FIT, words)
    task = "Part them before the first molts: the others out, or a divider; move the hard ones, not the soft one."
    return Finding(Point.COMPANY, Verdict.FIX_FIRST, words, task, 2.0)


def shelter_finding(due: Sequence[DueAnimal]) -> Finding:
    """Shelter is seen, not measured: it is a line of the checklist."""
    task = "One shelter for each animal, exuvia left in, calcium at hand; no trials planned until they are hard."
    return Finding(Point.SHELTER, Verdict.NOT_KNOWN, "shelter: look yourself", task if due else "", 1.0, False)


def due_finding(due: Sequence[DueAnimal], living: int) -> Finding:
    """Who may molt in the span."""
    if not living:
        return Finding(Point.DUE, Verdict.FIT, "nobody to molt", decides=False)
    if not due:
        return Finding(Point.DUE, Verdict.FIT, "none likely to molt in these days", decides=False)
    names = ", ".join(f"{one.name} ({100 * one.chance:.0f} %)" for one in due)
    return Finding(Point.DUE, Verdict.FIT, f"may molt in these days: {names}", decides=False)


def _fresh(one: Sampled | None, quantity: Quantity, now_ms: int) -> Sampled | None:
    return one if one is not None and now_ms - one.time_ms <= FRESH_D[quantity] * DAY_MS else None


def _ago(one: Sampled, now_ms: int) -> str:
    age_s = max(0.0, (now_ms - one.time_ms) / 1000)
    return "today" if age_s < 86_400 else f"{duration(age_s)} ago"
