"""What an animal's events add up to: where it was, its size, its limbs, its molts, its eggs, whether it lives.

Pure: from events in the order of time, all of them in force. Must not do: tell what comes next.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from api.domain.animal import Animal, Limb, LimbState
from api.domain.husbandry import LIMBS, MOLTS, MOVES, EventKind, Husbandry, PremoltSign


class Stage(StrEnum):
    """How hard an animal's shell is."""

    SOFT = "soft"
    HARDENING = "hardening"
    HARD = "hard"


@dataclass(frozen=True, slots=True)
class Stay:
    """A time in one tank; ``until_ms`` None: it is there now, or died there."""

    tank: str
    since_ms: int
    until_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Molt:
    """A molt. ``since_ms`` None: it was seen at its time; else it lies between the two."""

    time_ms: int
    since_ms: int | None = None
    seen: bool = True

    @property
    def first_ms(self) -> int:
        """The earliest it can have been."""
        return self.time_ms if self.since_ms is None else self.since_ms


@dataclass(frozen=True, slots=True)
class Size:
    """A measurement."""

    time_ms: int
    carapace_mm: float | None
    mass_g: float | None


@dataclass(frozen=True, slots=True)
class Increment:
    """Carapace lengths before and after one molt."""

    molt_ms: int
    before_mm: float
    after_mm: float


@dataclass(frozen=True, slots=True)
class Sign:
    """Premolt signs seen at a time."""

    time_ms: int
    signs: tuple[PremoltSign, ...]


@dataclass(frozen=True, slots=True)
class Clutch:
    """Eggs or young under a mother; the times that have come are set."""

    eggs_ms: int | None
    hatched_ms: int | None = None
    over_ms: int | None = None
    lost: bool = False


@dataclass(frozen=True, slots=True)
class Life:
    """One animal and what its events add up to."""

    id: int
    animal: Animal
    events: tuple[Husbandry, ...] = ()
    stays: tuple[Stay, ...] = ()
    molts: tuple[Molt, ...] = ()
    sizes: tuple[Size, ...] = ()
    signs: tuple[Sign, ...] = ()
    limbs: Mapping[Limb, LimbState] = field(default_factory=dict)
    clutches: tuple[Clutch, ...] = ()
    mated_ms: tuple[int, ...] = ()
    died_ms: int | None = None

    @property
    def alive(self) -> bool:
        """Not known to have died."""
        return self.died_ms is None

    @property
    def tank(self) -> str | None:
        """Where it is now; None when nobody said so, or it died."""
        return self.stays[-1].tank if self.stays and self.alive else None

    def tank_at(self, time_ms: int) -> str | None:
        """Where it was."""
        found = [stay for stay in self.stays if stay.since_ms <= time_ms]
        return found[-1].tank if found else None

    @property
    def last_molt(self) -> Molt | None:
        """The newest molt."""
        return self.molts[-1] if self.molts else None

    @property
    def carapace_mm(self) -> float | None:
        """The newest carapace length."""
        return self.measured.carapace_mm if self.measured is not None else None

    @property
    def measured(self) -> Size | None:
        """The newest measurement with a carapace length."""
        return next((size for size in reversed(self.sizes) if size.carapace_mm is not None), None)

    @property
    def weighed(self) -> Size | None:
        """The newest measurement with a mass."""
        return next((size for size in reversed(self.sizes) if size.mass_g is not None), None)

    @property
    def increments(self) -> tuple[Increment, ...]:
        """Molts with a length before and one after, no other molt between."""
        found = []
        for index, molt in enumerate(self.molts):
            start_ms = self.molts[index - 1].time_ms if index else None
            end_ms = self.molts[index + 1].first_ms if index + 1 < len(self.molts) else None
            before = self._lengths(start_ms, molt.first_ms)
            after = self._lengths(molt.time_ms, end_ms)
            if before and after:
                found.append(Increment(molt.time_ms, before[-1], after[0]))
        return tuple(found)

    def _lengths(self, start_ms: int | None, end_ms: int | None) -> list[float]:
        """Carapace lengths measured after a time and not later than another."""
        return [
            size.carapace_mm
            for size in self.sizes
            if size.carapace_mm is not None
            and (start_ms is None or size.time_ms > start_ms)
            and (end_ms is None or size.time_ms <= end_ms)
        ]

    @property
    def clutch(self) -> Clutch | None:
        """Eggs or young it carries now."""
        return self.clutches[-1] if self.clutches and self.clutches[-1].over_ms is None and self.alive else None

    @property
    def marks(self) -> tuple[tuple[Limb, LimbState], ...]:
        """Limbs that are not as they should be: how keepers tell animals apart."""
        return tuple((limb, self.limbs[limb]) for limb in Limb if self.limbs.get(limb, LimbState.PRESENT) != "present")


AFTER = {
    EventKind.LIMB_LOST: LimbState.LOST,
    EventKind.LIMB_REGROWING: LimbState.REGROWING,
    EventKind.LIMB_REGROWN: LimbState.PRESENT,
}


def life_of(number: int, animal: Animal, events: Sequence[Husbandry]) -> Life:
    """One animal's life from its events in force, in the order of time."""
    return Life(
        id=number,
        animal=animal,
        events=tuple(events),
        stays=_stays(events),
        molts=tuple(Molt(one.time_ms, one.since_ms, one.kind is EventKind.MOLT) for one in events if one.kind in MOLTS),
        sizes=tuple(
            Size(one.time_ms, one.carapace_mm, one.mass_g)
            for one in events
            if one.carapace_mm is not None or one.mass_g is not None
        ),
        signs=tuple(Sign(one.time_ms, one.signs) for one in events if one.kind is EventKind.PREMOLT),
        limbs={one.limb: AFTER[one.kind] for one in events if one.limb is not None and one.kind in LIMBS},
        clutches=_clutches(events),
        mated_ms=tuple(one.time_ms for one in events if one.kind is EventKind.MATED),
        died_ms=next((one.time_ms for one in events if one.kind is EventKind.DIED), None),
    )


def _stays(events: Sequence[Husbandry]) -> tuple[Stay, ...]:
    stays: list[Stay] = []
    for one in events:
        if one.kind not in MOVES or one.tank is None or (stays and stays[-1].tank == one.tank):
            continue
        if stays:
            stays[-1] = Stay(stays[-1].tank, stays[-1].since_ms, one.time_ms)
        stays.append(Stay(one.tank, one.time_ms))
    return tuple(stays)


def _clutches(events: Sequence[Husbandry]) -> tuple[Clutch, ...]:
    """A clutch begins with eggs seen or young hatched, and is over when eggs are lost, young are off or a molt came."""
    clutches: list[Clutch] = []
    for one in events:
        now = clutches[-1] if clutches and clutches[-1].over_ms is None else None
        if one.kind is EventKind.EGGS_SEEN and now is None:
            clutches.append(Clutch(one.time_ms))
        elif one.kind is EventKind.HATCHED:
            if now is None:
                clutches.append(Clutch(None, one.time_ms))
            elif now.hatched_ms is None:
                clutches[-1] = Clutch(now.eggs_ms, one.time_ms)
        elif now is not None:
            lost = one.kind is EventKind.EGGS_LOST or one.kind in MOLTS
            gone = one.kind in (EventKind.YOUNG_OFF, EventKind.DIED)
            left = one.kind is EventKind.MOTHER_MOVED and now.hatched_ms is not None
            if lost or gone or left:
                clutches[-1] = Clutch(now.eggs_ms, now.hatched_ms, one.time_ms, lost and now.hatched_ms is None)
    return tuple(clutches)
