"""Care ranges in words: each number with its source, and each change with who, when and why.

Must not do: know of requests.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from api.domain.care import CareRange
from api.domain.care_change import NUMBERS, PROFILE, CareChange
from api.domain.quantity import MEANING
from api.services.care import ProfileNow
from dashboard.clock import Clock, Moment

SECONDS = ("on_delay_s", "danger_on_delay_s", "off_delay_s")
LABELS = {
    "target_low": "target from",
    "target_high": "target to",
    "tolerable_low": "tolerable from",
    "tolerable_high": "tolerable to",
    "danger_low": "danger below",
    "danger_high": "danger above",
    "deadband": "deadband",
    "on_delay_s": "on-delay",
    "danger_on_delay_s": "on-delay in danger",
    "off_delay_s": "off-delay",
    "change_per_hour": "largest change in an hour",
    "change_per_day": "largest change in a day",
}


@dataclass(frozen=True, slots=True)
class ProfileView:
    """A profile in a line."""

    name: str
    about: str
    origin: str
    tanks: tuple[tuple[str, str, str], ...]
    doubts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NumberView:
    """A number, its source, and what the room file says where a change stands above it."""

    label: str
    text: str
    source: str
    file: str


@dataclass(frozen=True, slots=True)
class RangeView:
    """One quantity's numbers."""

    label: str
    numbers: tuple[NumberView, ...]


@dataclass(frozen=True, slots=True)
class ChangeView:
    """One change in words."""

    when: Moment
    what: str
    person: str
    reason: str
    quantity: str
    number: str
    stage: str
    tank: str


def profile_view(now: ProfileNow) -> ProfileView:
    """One profile."""
    origin = "built in" if now.built_in else "from room.toml"
    if any(one.scope == PROFILE for one in now.held):
        origin += ", with changes made here, which stand above it until they are withdrawn here"
    tanks = tuple((tank.id, tank.name, "by its species" if mine and tank.species else "") for tank, mine in now.tanks)
    return ProfileView(now.profile.name, now.profile.source, origin, tanks, now.doubts)


def range_views(now: ProfileNow) -> tuple[RangeView, ...]:
    """Every quantity of a profile as it is in force."""
    out = []
    for one in now.profile.ranges:
        described = now.described.range_of(one.quantity)
        label = MEANING[one.quantity].label
        heading = label if label.startswith("pH") else label.capitalize()
        out.append(RangeView(heading, tuple(_numbers(one, described))))
    return tuple(out)


def _numbers(care: CareRange, described: CareRange | None) -> list[NumberView]:
    out = []
    for name in NUMBERS:
        value = getattr(care, name)
        before = getattr(described, name) if described is not None else None
        if value is None and before is None:
            continue
        file = _amount(care, name, before) if before != value else ""
        out.append(NumberView(LABELS[name], _amount(care, name, value), care.source_of(name), file))
    return out


def _amount(care: CareRange, name: str, value: float | None) -> str:
    if value is None:
        return "no limit"
    if name in SECONDS:
        return f"{value / 60:g} min"
    return f"{round(value, 2):g} {MEANING[care.quantity].unit_label}"


def change_view(one: CareChange, tanks: Mapping[str, str], clock: Clock) -> ChangeView:
    """One change."""
    where = "" if one.scope == PROFILE else f"{tanks.get(one.key, one.key)}: "
    stage = f" while {one.stage}" if one.stage else ""
    to = "as below again" if one.withdrawn else _amount(CareRange(one.quantity), one.name, one.value)
    return ChangeView(
        when=clock.moment(one.from_ms),
        what=f"{where}{MEANING[one.quantity].label}, {LABELS[one.name]}{stage}: {to}",
        person=one.person,
        reason=one.reason,
        quantity=str(one.quantity),
        number=one.name,
        stage=one.stage,
        tank="" if one.scope == PROFILE else one.key,
    )
