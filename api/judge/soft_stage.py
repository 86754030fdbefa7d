"""The soft stage after a molt: how long it lasts, what to do meanwhile, and the tighter limits of oxygen.

Pure. Must not do: know which animals there are.
"""

from __future__ import annotations

from dataclasses import replace

from api.domain.care import CareRange
from api.domain.life import Molt, Stage
from api.domain.quantity import Quantity

DAY_MS = 86_400_000
SOFT_D = 4.0
"""Shelter from companions: through stage B of Drach's table (gelatin-soft a few hours, leathery about a day, brittle
1 to 3 days; Stevenson, Orconectes). [d]"""
HARD_D = 10.0
"""No handling and no trials before stage C3 (C1 and C2 about two days each, C3 several; the same table). [d]"""
RAISED = {Quantity.OXYGEN: 1.0, Quantity.OXYGEN_SATURATION: 10.0}
"""By how much limits below rise while an animal is soft: judgement. Soft blue crabs die about twice as often as hard
ones (from memory), so the margin is taken from the side of oxygen. [mg/L; % of air saturation]"""
REMINDERS = (
    "Leave the exuvia in: it is eaten over two to three days (common practice, no source).",
    "Companions are a danger while it is soft: it should be alone, or the others out.",
    "No handling and no trials until it is hard.",
    "Keep calcium at hand, and change no more than a little water at a time.",
    "An exuvia looks like a dead animal: look under the shelter before you note a death.",
)


def soft_until_ms(molt: Molt) -> int:
    """When the soft stage is over at the latest. [ms]"""
    return molt.time_ms + round(SOFT_D * DAY_MS)


def hard_from_ms(molt: Molt) -> int:
    """From when on it may be handled. [ms]"""
    return molt.time_ms + round(HARD_D * DAY_MS)


def stage_at(molts: tuple[Molt, ...], time_ms: int) -> Stage:
    """How hard the shell is at a time, counted from the latest moment the newest molt can have been."""
    last = next((molt for molt in reversed(molts) if molt.first_ms <= time_ms), None)
    if last is None or time_ms >= hard_from_ms(last):
        return Stage.HARD
    return Stage.SOFT if time_ms < soft_until_ms(last) else Stage.HARDENING


def tighter(care: CareRange) -> CareRange:
    """The care range of a tank with a soft animal; the same one where the stage asks for nothing else."""
    by = RAISED.get(care.quantity)
    if by is None:
        return care

    def up(limit: float | None, most: float | None) -> float | None:
        if limit is None:
            return None
        return limit + by if most is None else max(limit, min(limit + by, most))

    highest = next((one for one in (care.target_high, care.tolerable_high, care.danger_high) if one is not None), None)
    return replace(
        care,
        target_low=up(care.target_low, highest),
        tolerable_low=up(care.tolerable_low, highest),
        danger_low=up(care.danger_low, highest),
        source=f"{care.source}; limits below are {by:g} higher while an animal is soft: judgement",
    )
