"""Care ranges as people see and change them: what is in force, why, since when, and what speaks against a change.

Must not do: judge readings.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass
from math import isfinite

from api.domain.care import CareProfile, CareRange
from api.domain.care_change import NUMBERS, PROFILE, STAGES, TANK, CareChange, in_force
from api.domain.care_species import BUILT_IN, profile_for
from api.domain.errors import InputError, NotFound
from api.domain.quantity import Quantity
from api.domain.tank import Tank
from api.domain.texts import person_name, writable
from api.judge.care_check import doubts, refusals
from api.services.care_then import CareThen
from api.services.event_checks import Doubtful
from api.services.plan import RoomPlan
from api.storage.base import Store


@dataclass(frozen=True, slots=True)
class Wish:
    """What a person wants to change: numbers of one quantity; ``withdraw``: back to what lies below."""

    scope: str
    key: str
    quantity: Quantity
    numbers: Mapping[str, float | None]
    stage: str = ""
    withdraw: bool = False


@dataclass(frozen=True, slots=True)
class ProfileNow:
    """A profile in force; ``described`` as the room file or the program says, ``held`` what people changed."""

    profile: CareProfile
    described: CareProfile
    built_in: bool
    tanks: tuple[tuple[Tank, bool], ...]
    held: tuple[CareChange, ...]
    doubts: tuple[str, ...]


class DoubtfulCare(Doubtful):
    """What a person should think over; said again with ``confirm`` it is kept."""


class Care:
    """Answers and changes."""

    def __init__(
        self, store: Store, plan: Callable[[], RoomPlan], reload: Callable[[], None], now_ms: Callable[[], int]
    ) -> None:
        self._store, self._plan, self._reload, self._now_ms = store, plan, reload, now_ms

    def all(self) -> tuple[ProfileNow, ...]:
        """Every profile, those in use first."""
        found = [self.profile(name) for name in self._plan().care]
        return tuple(sorted(found, key=lambda one: (not one.tanks, one.profile.name)))

    def profile(self, name: str) -> ProfileNow:
        """One profile as it is in force. Raises NotFound."""
        plan, then = self._plan(), self._then()
        described = plan.care.get(name)
        if described is None:
            raise NotFound(f"there is no care profile {name[:80]!r}")
        tanks = tuple((tank, profile_for(tank.species) == name) for tank in plan.tanks.values() if tank.care == name)
        stand_in = Tank("", "", care=name)
        quantities = dict.fromkeys([r.quantity for r in described.ranges] + [c.quantity for c in then.changes])
        ranges = tuple(care for q in quantities if (care := then.range_of(stand_in, q)) is not None)
        own = {tank.id for tank, _ in tanks}
        held = [one for one in in_force(then.changes) if (one.scope, one.key) == (PROFILE, name) or one.key in own]
        now = CareProfile(name, ranges, described.source, described.species, described.cool)
        species = {profile_for(tank.species) for tank, _ in tanks} | {profile_for(described.species)}
        natives = [one for one in BUILT_IN if one.name in species]
        said = dict.fromkeys(words for native in natives for words in self._doubts(now, native))
        return ProfileNow(now, described, described in BUILT_IN, tanks, tuple(held), tuple(said))

    def history(self, name: str) -> list[CareChange]:
        """Every change of a profile and of the tanks that have it, newest first."""
        own = {tank.id for tank in self._plan().tanks.values() if tank.care == name}
        changes = self._then().changes
        return [
            c for c in reversed(changes) if (c.scope, c.key) == (PROFILE, name) or (c.scope == TANK and c.key in own)
        ]

    def described_since(self, name: str) -> list[int]:
        """When the room file's word on a profile changed. [ms]"""
        return [one.from_ms for one in self._store.care.versions() if one.name == name]

    def change(self, wish: Wish, person: str, reason: str, *, confirm: bool = False) -> Future[None]:
        """Change numbers, from now on.

        Raises InputError for what cannot be, DoubtfulCare for what should be thought over, NotFound.
        """
        name, why = person_name(person, "a care range is changed"), " ".join(reason.split())
        writable("the reason", why, 300)
        if not why:
            raise InputError("give the reason: a year from now somebody will ask")
        now_ms = self._now_ms()
        made = self._made(wish, name, why, now_ms)
        self._check(wish, made, confirm)
        return self._store.write(lambda: self._keep(made), lambda kept: self._reload() if kept else None)

    def _keep(self, made: list[CareChange]) -> None:
        for one in made:
            self._store.care.change(one)

    def _made(self, wish: Wish, person: str, reason: str, now_ms: int) -> list[CareChange]:
        plan = self._plan()
        known = plan.care if wish.scope == PROFILE else plan.tanks if wish.scope == TANK else {}
        if wish.key not in known:
            raise NotFound(f"there is no {wish.scope[:20]} {wish.key[:80]!r}")
        if wish.stage not in STAGES:
            raise InputError(f"{wish.stage[:40]!r} is no stage; known: {', '.join(STAGES[1:])}")
        if not wish.numbers:
            raise InputError("nothing is different from before: change a number")
        for number, value in wish.numbers.items():
            if number not in NUMBERS:
                raise InputError(f"{number[:40]!r} is no number of a care range; known: {', '.join(NUMBERS)}")
            if value is None and number in ("deadband", "on_delay_s", "danger_on_delay_s", "off_delay_s"):
                raise InputError(f"{number} needs a number")
            if value is not None and not (isfinite(value) and abs(value) < 1e6):
                raise InputError(f"{number} = {value} is no number that can be used")
        return [
            CareChange(0, wish.scope, wish.key, wish.stage, wish.quantity, n, v, wish.withdraw, person, reason, now_ms)
            for n, v in wish.numbers.items()
        ]

    def _check(self, wish: Wish, made: list[CareChange], confirm: bool) -> None:
        """The ranges as they would be, in every tank they are for."""
        plan, then = self._plan(), self._then()
        after = CareThen(then.profiles, then.versions, (*then.changes, *made))
        tanks = [t for t in plan.tanks.values() if wish.key == (t.care if wish.scope == PROFILE else t.id)]
        stages = [wish.stage] if wish.stage else []
        thought: dict[str, None] = {}
        for tank in tanks or [Tank("", "", care=wish.key)]:
            oxygen, warmth = (
                after.strict_range_of(tank, quantity, stages) for quantity in (Quantity.OXYGEN, Quantity.TEMPERATURE)
            )
            after.strict_range_of(tank, wish.quantity, stages)
            air = (plan.pressure_kpa, plan.salinity_psu(tank.id or None))
            if refused := refusals(oxygen, warmth, *air):
                raise InputError("; ".join(refused))
            native = next((one for one in BUILT_IN if one.name == profile_for(tank.species)), None)
            thought |= dict.fromkeys(doubts(oxygen, warmth, native, *air))
        if thought and not confirm:
            raise DoubtfulCare([f"{one}." for one in thought])

    def _doubts(self, now: CareProfile, native: CareProfile) -> list[str]:
        plan = self._plan()
        oxygen, warmth = now.range_of(Quantity.OXYGEN), now.range_of(Quantity.TEMPERATURE)
        air = (plan.pressure_kpa, plan.room.salinity_psu)
        return [*refusals(oxygen, warmth, *air), *doubts(oxygen, warmth, native, *air)]

    def _then(self) -> CareThen:
        then = self._plan().care_then
        return then if then is not None else CareThen(self._plan().care, (), ())

    def range_of(self, tank: str, quantity: Quantity) -> CareRange | None:
        """The range in force in a tank now. Raises NotFound."""
        found = self._plan().tanks.get(tank)
        if found is None:
            raise NotFound(f"there is no tank {tank[:80]!r}")
        return self._plan().range_of(found, quantity)
