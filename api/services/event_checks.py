"""What an event may not say, and what is asked about before it is kept, from what is known of the animal.

Must not do: keep anything, or refuse what a keeper may well have seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from api.domain.animal import LimbState, Sex
from api.domain.errors import InputError, NotFound
from api.domain.husbandry import BREEDING, KIND_NAMES, LIMBS, MOLTS, MOVES, ONE_ANIMAL, ONE_TANK, EventKind, Husbandry
from api.domain.life import Life, Molt
from api.services.plan import RoomPlan

DAY_MS = 86_400_000
EARLIEST_MS = 946_684_800_000
AHEAD_MS = 600_000
"""How far a browser's clock may run ahead. [ms]"""
SOON_MS = 3 * DAY_MS
SHRINKS_MM, GROWS_SHARE = 0.2, 0.6
"""A carapace measured smaller by more than a caliper's error, or larger by more than any molt adds, is asked about
(judgement)."""


class Doubtful(InputError):
    """What was entered can be, but is unusual: it is kept when the person confirms it."""

    def __init__(self, questions: list[str]) -> None:
        self.questions = tuple(questions)
        super().__init__(" ".join(questions))


@dataclass(frozen=True, slots=True)
class Told:
    """Times as the room's clock shows them."""

    zone: str

    def text(self, time_ms: int) -> str:
        """ "2026-03-01 08:00"."""
        return f"{self.local(time_ms):%Y-%m-%d %H:%M}"

    def local(self, time_ms: int) -> datetime:
        """On the room's clock."""
        return datetime.fromtimestamp(time_ms / 1000, UTC).astimezone(ZoneInfo(self.zone))


def check_time(time_ms: int, now_ms: int, what: str) -> None:
    """Raises InputError for a time that has not come yet or was long before any of this."""
    if time_ms > now_ms + AHEAD_MS:
        raise InputError(f"{what} cannot have happened at a time that has not come yet; check the date")
    if time_ms < EARLIEST_MS:
        raise InputError(f"{what} before the year 2000: check the date")


def placed(event: Husbandry, life: Life | None, plan: RoomPlan) -> str | None:
    """The tank an event belongs to.

    Raises NotFound for a tank that is not there, InputError for a tank the animal was not in.
    """
    name = KIND_NAMES[event.kind]
    if event.tank is not None and event.tank not in plan.tanks:
        raise NotFound(f"there is no tank {event.tank[:80]!r}")
    if event.kind in ONE_TANK and event.tank is None:
        raise InputError(f"{name}: say which tank")
    if event.kind in ONE_ANIMAL and life is None:
        raise InputError(f"{name}: say which animal")
    if event.tank is None and life is None:
        raise InputError(f"{name}: say which tank or animal")
    if life is None or event.kind in MOVES:
        return event.tank
    at = life.tank_at(event.time_ms)
    if event.tank is not None and at is not None and at != event.tank:
        told = plan.tanks[at].name if at in plan.tanks else at
        raise InputError(
            f"{life.animal.name} was in {told} at that time, and no animal is in two tanks; enter its move first"
        )
    return at if event.tank is None else event.tank


def refuse(event: Husbandry, life: Life, told: Told) -> None:
    """Raises InputError for what cannot have happened to this animal."""
    name, animal = KIND_NAMES[event.kind], life.animal
    hatched = animal.hatched
    if hatched is not None and told.local(event.time_ms).date() < hatched:
        raise InputError(f"{name}: {animal.name} hatched on {hatched}, after that; correct one of the two dates")
    if event.kind is EventKind.DIED:
        _death(event, life, told)
    elif life.died_ms is not None and event.time_ms > life.died_ms and event.kind is not EventKind.NOTE:
        raise InputError(
            f"{name}: {animal.name} died at {told.text(life.died_ms)}; if that was an exuvia, withdraw the death first"
        )
    if event.kind in MOLTS:
        _two_molts(event, life, told)
    if event.kind in MOVES and event.tank is not None:
        same = [one for one in life.stays if one.since_ms == event.time_ms and one.tank != event.tank]
        if same:
            raise InputError(f"{animal.name} moved to tank {same[0].tank} at that very time; it cannot be in two tanks")


def _death(event: Husbandry, life: Life, told: Told) -> None:
    if life.died_ms is not None:
        raise InputError(f"{life.animal.name} is already noted as dead, at {told.text(life.died_ms)}")
    later = [one for one in life.events if one.time_ms > event.time_ms]
    if later:
        first = later[0]
        raise InputError(
            f"{life.animal.name} cannot have died then: {KIND_NAMES[first.kind]} at {told.text(first.time_ms)}"
            " is on record after it"
        )


def _two_molts(event: Husbandry, life: Life, told: Told) -> None:
    new = Molt(event.time_ms, event.since_ms)
    for molt in life.molts:
        if _apart_ms(new, molt) < DAY_MS:
            raise InputError(
                f"{life.animal.name} has a molt on record at {told.text(molt.time_ms)}; no animal molts twice in a day."
                " If it is the same one, correct or keep that entry"
            )


def _apart_ms(one: Molt, other: Molt) -> int:
    """The least time between two molts, each known to a moment or a span."""
    return max(0, one.first_ms - other.time_ms, other.first_ms - one.time_ms)


def questions(event: Husbandry, life: Life, told: Told) -> list[str]:
    """What is unusual enough to be asked about."""
    asked: list[str] = []
    animal = life.animal
    if event.kind in MOLTS:
        near = [molt for molt in life.molts if _apart_ms(Molt(event.time_ms, event.since_ms), molt) < SOON_MS]
        if near:
            asked.append(
                f"{animal.name} has a molt on record less than three days away, at {told.text(near[0].time_ms)}."
            )
        if life.clutch is not None and life.clutch.eggs_ms is not None and life.clutch.hatched_ms is None:
            asked.append(f"{animal.name} is noted as carrying eggs, and berried animals do not molt.")
    if animal.arrived is not None and told.local(event.time_ms).date() < animal.arrived:
        asked.append(f"{animal.name} arrived on {animal.arrived}, after that.")
    if event.kind in BREEDING and event.kind is not EventKind.MATED and animal.sex is Sex.MALE:
        asked.append(f"{animal.name} is noted as male.")
    if event.carapace_mm is not None:
        asked += _size_questions(event, life)
    if event.kind in LIMBS and event.limb is not None:
        state = life.limbs.get(event.limb, LimbState.PRESENT)
        if event.kind is EventKind.LIMB_LOST and state is LimbState.LOST:
            asked.append(f"The {event.limb.words} is noted as lost already.")
        if event.kind is not EventKind.LIMB_LOST and state is LimbState.PRESENT:
            asked.append(f"The {event.limb.words} was not noted as lost.")
    return [f"{one} Is it right?" for one in asked]


def _size_questions(event: Husbandry, life: Life) -> list[str]:
    before = [one for one in life.sizes if one.time_ms <= event.time_ms and one.carapace_mm is not None]
    if not before or event.carapace_mm is None:
        return []
    old, new = before[-1].carapace_mm or 0.0, event.carapace_mm
    if new < old - SHRINKS_MM:
        return [f"The carapace measured {old:g} mm before and {new:g} mm now; a carapace seldom shrinks."]
    if new > old * (1 + GROWS_SHARE) and not [molt for molt in life.molts if molt.time_ms > before[-1].time_ms]:
        return [f"The carapace measured {old:g} mm before and {new:g} mm now, without a molt between."]
    return []
