"""Care ranges as they were in force at any time: what the room file said then, and what people had changed by then.

A change made on a page stands above the room file until it is withdrawn on the page. Must not do: keep or judge.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from pydantic import TypeAdapter

from api.domain.care import CareProfile, CareRange
from api.domain.care_change import PROFILE, TANK, CareChange, changed, in_force
from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.tank import Tank
from api.judge.soft_stage import tighter
from api.storage.base import Store

CARE = TypeAdapter(CareProfile)


@dataclass(frozen=True, slots=True)
class CareThen:
    """``profiles``: as the room file says now; ``versions``: (from when, as it said then), oldest first."""

    profiles: dict[str, CareProfile]
    versions: tuple[tuple[int, CareProfile], ...]
    changes: tuple[CareChange, ...]

    def profile(self, name: str, time_ms: int | None = None) -> CareProfile | None:
        """A profile by the room file, at a time (None: now); before it was first kept, as it read first."""
        if time_ms is None:
            return self.profiles.get(name)
        own = [(from_ms, one) for from_ms, one in self.versions if one.name == name]
        then = [one for from_ms, one in own if from_ms <= time_ms]
        return then[-1] if then else own[0][1] if own else self.profiles.get(name)

    @property
    def changes_ever(self) -> bool:
        """Whether anything was ever different from now."""
        return bool(self.changes) or len(self.versions) > len(self.profiles)

    @property
    def moments_ms(self) -> tuple[int, ...]:
        """When anything changed, in the order of time. [ms]"""
        moments_ms = {from_ms for from_ms, _ in self.versions} | {one.from_ms for one in self.changes}
        return tuple(sorted(moments_ms))

    def range_of(
        self, tank: Tank, quantity: Quantity, stages: Iterable[str] = (), time_ms: int | None = None
    ) -> CareRange | None:
        """The range in force in a tank: profile, its changes, the tank's own, then those of the stages in it."""
        profile = self.profile(tank.care, time_ms)
        care = profile.range_of(quantity) if profile is not None else None
        held = [one for one in in_force(self.changes, time_ms) if one.quantity is quantity]
        care = _put(care, [one for one in held if (one.scope, one.key, one.stage) == (PROFILE, tank.care, "")])
        care = _put(care, [one for one in held if (one.scope, one.key, one.stage) == (TANK, tank.id, "")])
        if care is not None and "soft" in stages:
            care = tighter(care)
        for stage in sorted(stages):
            care = _put(care, [one for one in held if one.stage == stage and _meant(one, tank)])
        return care

    def strict_range_of(self, tank: Tank, quantity: Quantity, stages: Iterable[str] = ()) -> CareRange | None:
        """As ``range_of`` now, but raises InputError where the numbers contradict each other together."""
        held = [one for one in in_force(self.changes) if one.quantity is quantity and _meant(one, tank)]
        profile = self.profile(tank.care)
        care = profile.range_of(quantity) if profile is not None else None
        for scope in (PROFILE, TANK):
            care = changed(care, [one for one in held if one.scope == scope and not one.stage])
        if care is not None and "soft" in stages:
            care = tighter(care)
        for stage in sorted(stages):
            care = changed(care, [one for one in held if one.stage == stage])
        return care


def _meant(one: CareChange, tank: Tank) -> bool:
    return (one.scope, one.key) in ((PROFILE, tank.care), (TANK, tank.id))


def _put(care: CareRange | None, changes: Sequence[CareChange]) -> CareRange | None:
    """Changes that fit; a number the room file has since moved out of their reach stays as the file says."""
    try:
        return changed(care, changes)
    except InputError:
        for one in changes:
            try:
                care = changed(care, [one])
            except InputError:
                continue
        return care


def care_over_time(store: Store, profiles: Iterable[CareProfile]) -> CareThen:
    """What the records say."""
    versions = tuple((one.from_ms, CARE.validate_python(one.body)) for one in store.care.versions())
    return CareThen({one.name: one for one in profiles}, versions, tuple(store.care.changes()))
