"""The review before a cluster: are these tanks fit for the molts of these days, and if not, what has to change by when.

Must not do: weigh (``api/molt/readiness*.py``), or change anything.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from math import isfinite

from api.domain.care import CareRange
from api.domain.errors import InputError, NotFound
from api.domain.life import Life, Stage
from api.domain.quantity import Quantity
from api.domain.tank import Tank
from api.judge.soft_stage import stage_at
from api.molt.outlook import RoomOutlook
from api.molt.readiness import DAY_MS, Finding, Point, Reviewed, Task, Verdict, reviewed
from api.molt.readiness_keeping import (
    DueAnimal,
    ammonia_finding,
    company_finding,
    due_finding,
    hardness_findings,
    probes_finding,
    shelter_finding,
)
from api.molt.readiness_water import grace_finding, quantity_finding, stagnation_finding, swing_finding
from api.molt.water_kept import Kept
from api.services.grace import Grace, Graces
from api.services.lives import Lives
from api.services.molts import Molts
from api.services.plan import RoomPlan
from api.services.review_water import ReviewWater
from api.storage.base import Store

__all__ = ["DAY_MS", "Finding", "Point", "Review", "Reviewed", "RoomReview", "Task", "Verdict"]
LIKELY = 0.15
"""From this chance of a molt in the span an animal is called due. Judgement. [1]"""
LONGEST_D = 60


@dataclass(frozen=True, slots=True)
class RoomReview:
    """A review of some tanks for the time from start to end; tasks of all of them in the order of time."""

    made_ms: int
    start_ms: int
    end_ms: int
    tanks: tuple[Reviewed, ...]
    names: Mapping[str, str]
    tasks: tuple[Task, ...]

    @property
    def fit(self) -> bool:
        """Whether every tank is."""
        return all(one.verdict is Verdict.FIT for one in self.tanks)


class Review:
    """Makes reviews."""

    def __init__(
        self,
        store: Store,
        plan: Callable[[], RoomPlan],
        lives: Lives,
        molts: Molts,
        grace: Graces,
    ) -> None:
        self._store, self._plan, self._lives, self._molts = store, plan, lives, molts
        self._grace = grace

    def review(self, tanks: Collection[str] | None, start_ms: int, end_ms: int, now_ms: int) -> RoomReview:
        """Some tanks (None: all that hold animals, or all where none does) for a span of days.

        Raises InputError for a span that cannot be reviewed, NotFound for a tank that is not there.
        """
        if end_ms <= start_ms:
            raise InputError("a review ends after it starts: give --from and --to, or two days, in that order")
        if end_ms - start_ms > LONGEST_D * DAY_MS:
            raise InputError(f"a review looks at {LONGEST_D} days at most; choose a shorter span")
        if end_ms <= now_ms:
            raise InputError("a review looks ahead; for days that are over make a conditions report")
        plan = self._plan()
        chosen = self._chosen(plan, tanks)
        water = ReviewWater(self._store, plan, now_ms)
        span = (max(start_ms, now_ms), end_ms)
        due = _due(self._lives.all(), self._molts.outlook(now_ms), span)
        made = tuple(self._one(tank, plan, water, due, span[0], now_ms) for tank in chosen)
        order = {Verdict.FIX_FIRST: 0, Verdict.NOT_KNOWN: 1, Verdict.FIT: 2}
        return RoomReview(
            made_ms=now_ms,
            start_ms=start_ms,
            end_ms=end_ms,
            tanks=tuple(sorted(made, key=lambda one: order[one.verdict])),
            names={tank.id: tank.name for tank in chosen},
            tasks=tuple(sorted((task for one in made for task in one.tasks), key=lambda one: one.by_ms)),
        )

    def _chosen(self, plan: RoomPlan, tanks: Collection[str] | None) -> list[Tank]:
        for name in tanks or ():
            if name not in plan.tanks:
                raise NotFound(f"there is no tank {name!r}; tanks: {', '.join(plan.tanks) or 'none'}")
        if tanks:
            return [tank for tank in plan.tanks.values() if tank.id in tanks]
        held = {life.tank for life in self._lives.all().values() if life.alive}
        return [tank for tank in plan.tanks.values() if tank.id in held] or list(plan.tanks.values())

    def _one(
        self, tank: Tank, plan: RoomPlan, water: ReviewWater, may_molt: Mapping[int, DueAnimal], begin_ms: int,
        now_ms: int,
    ) -> Reviewed:  # fmt: skip
        living = [life for life in self._lives.all().values() if life.alive and life.tank == tank.id]
        soft = sum(stage_at(life.molts, now_ms) is Stage.SOFT for life in living)
        due = sorted((may_molt[life.id] for life in living if life.id in may_molt), key=lambda one: -one.chance)
        temperature = water.kept(tank, Quantity.TEMPERATURE)
        findings = [
            _quantity(Quantity.TEMPERATURE, temperature, plan.range_of(tank, Quantity.TEMPERATURE)),
            _quantity(Quantity.OXYGEN, water.kept(tank, Quantity.OXYGEN), plan.range_of(tank, Quantity.OXYGEN)),
        ]
        if temperature is not None:
            findings.append(swing_finding(temperature[0]))
        kit = {one: water.tested(tank.id, one) for one in KIT}
        warm_c = temperature[0].highest if temperature is not None else None
        findings += [
            stagnation_finding(water.stagnation_h(tank.id), water.watched(tank.id)),
            grace_finding(_hours(self._grace.tank(tank.id))),
            *hardness_findings(kit[Quantity.HARDNESS], kit[Quantity.CALCIUM], now_ms),
            ammonia_finding(kit[Quantity.AMMONIA], kit[Quantity.PH], warm_c, now_ms),
            probes_finding(water.probes(tank.id)),
            company_finding(len(living), soft, due), shelter_finding(due), due_finding(due, len(living)),
        ]  # fmt: skip
        first_ms = min((one.from_ms for one in due if one.from_ms is not None), default=None)
        return reviewed(tank.id, findings, first_ms, begin_ms, now_ms)


KIT = (Quantity.HARDNESS, Quantity.CALCIUM, Quantity.AMMONIA, Quantity.PH)


def _quantity(quantity: Quantity, both: tuple[Kept, Kept] | None, care: CareRange | None) -> Finding:
    if both is None or care is None:
        point = Point.TEMPERATURE if quantity is Quantity.TEMPERATURE else Point.OXYGEN
        return Finding(point, Verdict.NOT_KNOWN, "no care range", "Give it a care range.", 7.0)
    return quantity_finding(quantity, *both, care)


def _hours(grace: Grace) -> tuple[float, float] | None:
    """Hours to the last limit there is, at worst and in the middle; None: not known. A month stands for never."""
    if not grace.source or not grace.to:
        return None
    low, middle = grace.to[-1].low_h, grace.to[-1].hours
    return (low if isfinite(low) else 720.0, middle if isfinite(middle) else 720.0)


def _due(lives: Mapping[int, Life], room: RoomOutlook | None, span: tuple[int, int]) -> dict[int, DueAnimal]:
    """Who may molt in a span."""
    if room is None or not room.outlooks:
        return {}
    chances = room.weights @ room.between(span)[:, :, 0]
    return {
        out.animal: DueAnimal(lives[out.animal].animal.name, chance, out.window_80[0])
        for out, chance in zip(room.outlooks, chances.tolist(), strict=True)
        if chance >= LIKELY and out.animal in lives
    }
