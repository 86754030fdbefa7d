"""How an animal hardens after a molt: the stages of Drach's table, stretched by cold and shortened in the young.

Must not do: hurry in warm water; nobody measured that it is safe.
"""

from __future__ import annotations

from dataclasses import dataclass

from api.domain.errors import InputError
from api.domain.life import Molt
from api.judge.soft_stage import HARD_D, SOFT_D
from api.molt.clock import DAY_MS
from api.molt.species import Species

REFERENCE_C = 20.0
"""The table does not tell its temperature; taken to be this. Judgement. [Cel]"""
MOST_STRETCH = 2.5
STAGES = (
    ("A1", "soft as gelatine", 0.25),
    ("A2", "leathery", 1.25),
    ("B", "brittle, ridges bend", 4.0),
    ("C1", "parts are rigid", 6.0),
    ("C2", "more is rigid", 8.0),
    ("C3", "all rigid, still filling out", 13.0),
)
"""Stage, words, and its end in days after the molt, the longest of each range (stevenson_molt_stages). [d]"""
SOFT_SHARE, HARD_SHARE = 0.10, 0.35
"""SOFT_D and HARD_D as shares of the interval of short-cycled young: stage shares from memory. Judgement. [1]"""
LEAST_SOFT_D, LEAST_HARD_D = 1.25, 3.0
"""Never less, however young and warm: through stage A2; judgement. [d]"""


@dataclass(frozen=True, slots=True)
class StageSpan:
    """One stage after a molt."""

    name: str
    words: str
    from_ms: int
    to_ms: int


@dataclass(frozen=True, slots=True)
class Hardening:
    """Until when an animal needs shelter from others, and from when on it may be handled."""

    soft_until_ms: int
    handle_from_ms: int
    stages: tuple[StageSpan, ...]
    notes: tuple[str, ...]

    def stage_at(self, time_ms: int) -> StageSpan | None:
        """The stage at a time; None: hard, or before the molt."""
        return next((one for one in self.stages if one.from_ms <= time_ms < one.to_ms), None)


def hardening(
    molt: Molt, species: Species, temperature_c: float | None = None, interval_d: float | None = None
) -> Hardening:
    """Stages after a molt, counted from the latest moment it can have been.

    Parameters
    ----------
    molt : Molt
        The molt. [-]
    species : Species
        Its species' figures; cold slows it as it slows the molt clock. [-]
    temperature_c : float, optional
        Mean temperature of its water; without it, that of the table. [Cel]
    interval_d : float, optional
        Its typical interval in days: in the young, stages are shares of it. Without it, the table's days. [d]

    Raises InputError for a temperature no water has, or an interval that is none.

    References
    ----------
    stevenson_molt_stages
    """
    if temperature_c is not None and not -2.0 <= temperature_c <= 50.0:
        raise InputError(f"{temperature_c:g} Cel is no temperature of a tank")
    if interval_d is not None and not interval_d > 0.0:
        raise InputError(f"an interval of {interval_d:g} days is none")
    stretch, notes = 1.0, []
    if temperature_c is not None:
        usual = min(REFERENCE_C, species.cap.value) - species.zero.value
        here = min(temperature_c, species.cap.value) - species.zero.value
        stretch = min(MOST_STRETCH, max(1.0, usual / max(here, 0.01)))
        if stretch > 1.05:
            notes.append(f"cold water: {stretch:.1f} times the usual days (judgement)")
    soft, hard = SOFT_D * stretch, HARD_D * stretch
    if interval_d is not None:
        young = max(LEAST_SOFT_D, SOFT_SHARE * interval_d), max(LEAST_HARD_D, HARD_SHARE * interval_d)
        if young[1] < hard:
            notes.append("young and quick: stages are shares of its interval (judgement)")
        soft, hard = min(soft, young[0]), min(hard, young[1])
    spans, from_ms = [], molt.time_ms
    for name, words, end_d in STAGES:
        # up to the end of B the soft stage is scaled, beyond it the rest up to handling
        end = soft * end_d / SOFT_D if end_d <= SOFT_D else soft + (end_d - SOFT_D) * (hard - soft) / (HARD_D - SOFT_D)
        to_ms = molt.time_ms + round(end * DAY_MS)
        spans.append(StageSpan(name, words, from_ms, to_ms))
        from_ms = to_ms
    return Hardening(
        molt.time_ms + round(soft * DAY_MS), molt.time_ms + round(hard * DAY_MS), tuple(spans), tuple(notes)
    )
