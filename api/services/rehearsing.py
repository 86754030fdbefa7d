"""A rehearsal as a page asks for it and shows it: what is wanted, and the alerts with the settings now and with others.

Pure. Must not do: rehearse (``api/rehearsal/stepwise.py``), or change a setting.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import isfinite

from api.domain.alert import AlertKind, Priority
from api.domain.care import CareProfile, CareRange
from api.domain.care_change import NUMBERS
from api.domain.errors import InputError, NotFound
from api.domain.quantity import Quantity
from api.services.plan import RoomPlan

HOUR_MS = 3_600_000
RUN_UP_MS = 27 * HOUR_MS
"""What was before the span is gone through as well: the forecast knows a tank from its last day."""
MOST_MS = 366 * 24 * HOUR_MS
MOVED = tuple(name for name in NUMBERS if not name.startswith("change_per"))
"""Numbers of a care range that a rehearsal follows."""
NEEDED = ("deadband", "on_delay_s", "danger_on_delay_s", "off_delay_s")


@dataclass(frozen=True, slots=True)
class Wanted:
    """Tanks and a span of kept readings, and the numbers of one quantity's care range to move (None: no limit)."""

    tanks: tuple[str, ...]
    start_ms: int
    end_ms: int
    quantity: Quantity
    numbers: Mapping[str, float | None]


@dataclass(frozen=True, slots=True)
class Rehearsed:
    """One alert as it would have stood. ``phone_ms``: when the first phone would have heard; None: nobody is told."""

    tank: str | None
    kind: AlertKind
    probe: str | None
    quantity: Quantity | None
    priority: Priority
    raised_ms: int
    phone_ms: int | None
    ended_ms: int | None
    text: str

    @property
    def subject(self) -> tuple[object, ...]:
        """What it is about."""
        return self.tank, self.kind, self.probe, self.quantity


@dataclass(frozen=True, slots=True)
class Rehearsing:
    """One rehearsal. ``share`` done of it [1]; ``over``: it has ended, and ``error`` says why without a result."""

    number: int
    wanted: Wanted
    share: float = 0.0
    over: bool = False
    error: str = ""
    now: tuple[Rehearsed, ...] = ()
    moved: tuple[Rehearsed, ...] = ()
    readings: int = 0
    seconds: float = 0.0


Pair = tuple[Rehearsed | None, Rehearsed | None]


def beside(now: Sequence[Rehearsed], moved: Sequence[Rehearsed]) -> list[Pair]:
    """Alerts of both settings in the order of time; those of one subject that stood at the same time are a pair."""
    free = list(moved)
    pairs: list[Pair] = []
    for one in now:
        other = next((two for two in free if two.subject == one.subject and _together(one, two)), None)
        if other is not None:
            free.remove(other)
        pairs.append((one, other))
    pairs += [(None, other) for other in free]
    return sorted(pairs, key=lambda pair: min(one.raised_ms for one in pair if one is not None))


def _together(one: Rehearsed, two: Rehearsed) -> bool:
    before_end = one.ended_ms is None or two.raised_ms <= one.ended_ms
    return before_end and (two.ended_ms is None or one.raised_ms <= two.ended_ms)


def narrowed(plan: RoomPlan, tanks: Sequence[str]) -> RoomPlan:
    """The room with some of its tanks only, each with the care ranges in force in it now as a profile of its own.

    Probes of no tank stay where they measure the room's pressure. Raises NotFound, InputError.
    """
    if not tanks:
        raise InputError("choose a tank")
    unknown = [one for one in tanks if one not in plan.tanks]
    if unknown:
        raise NotFound(f"there is no tank {unknown[0][:80]!r}")
    probes = {
        name: probe
        for name, probe in plan.probes.items()
        if probe.tank in tanks or any(value.quantity is Quantity.PRESSURE for value in probe.values)
    }
    care = {}
    for name in tanks:
        tank = plan.tanks[name]
        ranges = tuple(one for quantity in Quantity if (one := plan.range_of(tank, quantity)) is not None)
        described = plan.care.get(tank.care)
        cool = described.cool if described is not None else False
        care[name] = CareProfile(name, ranges, species=described.species if described is not None else "", cool=cool)
    own = {name: replace(plan.tanks[name], care=name) for name in tanks}
    return replace(plan, tanks=own, probes=probes, care=care, care_then=None, soft=frozenset(), stages={}, _channels={})


def moved(plan: RoomPlan, quantity: Quantity, numbers: Mapping[str, float | None]) -> RoomPlan:
    """A narrowed room with some numbers of one quantity's care range otherwise.

    Raises InputError for numbers that cannot be, alone or together.
    """
    for name, value in numbers.items():
        if name not in MOVED:
            raise InputError(f"{name[:40]!r} is no number a rehearsal follows; known: {', '.join(MOVED)}")
        if value is None and name in NEEDED:
            raise InputError(f"{name.replace('_', ' ')} needs a number")
        if value is not None and not (isfinite(value) and abs(value) < 1e6):
            raise InputError(f"{name.replace('_', ' ')}: {value} is no number that can be used")
    care = {name: _moved(profile, quantity, numbers) for name, profile in plan.care.items()}
    return replace(plan, care=care, _channels={})


def _moved(profile: CareProfile, quantity: Quantity, numbers: Mapping[str, float | None]) -> CareProfile:
    before = profile.range_of(quantity) or CareRange(quantity)
    after = replace(before, **numbers)  # type: ignore[arg-type]
    return replace(profile, ranges=(*(one for one in profile.ranges if one.quantity is not quantity), after))
