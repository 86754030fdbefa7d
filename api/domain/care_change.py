"""Changes of care ranges by people, and which numbers they put in force. Must not do: judge, or keep anything."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields, replace

from api.domain.care import CareRange
from api.domain.quantity import Quantity

PROFILE, TANK = "profile", "tank"
STAGES = ("", "soft", "berried", "with young")
NUMBERS = tuple(field.name for field in fields(CareRange) if field.name not in ("quantity", "source", "sources"))


@dataclass(frozen=True, slots=True)
class CareChange:
    """One number changed by a person, for a profile or for one tank, always or for a stage.

    ``value`` None: no limit. ``withdrawn``: the earlier change no longer holds, and what lies below it is in force.
    """

    id: int
    scope: str
    key: str
    stage: str
    quantity: Quantity
    name: str
    value: float | None
    withdrawn: bool
    person: str
    reason: str
    from_ms: int


def in_force(changes: Iterable[CareChange], time_ms: int | None = None) -> list[CareChange]:
    """The last word on each number at a time (None: now), without those withdrawn. ``changes`` oldest first."""
    last: dict[tuple[str, str, str, Quantity, str], CareChange] = {}
    for one in changes:
        if time_ms is None or one.from_ms <= time_ms:
            last[one.scope, one.key, one.stage, one.quantity, one.name] = one
    return [one for one in last.values() if not one.withdrawn]


def changed(care: CareRange | None, changes: Iterable[CareChange]) -> CareRange | None:
    """A range with changes of its own quantity put into it.

    Raises InputError when the numbers contradict each other together.
    """
    for one in changes:
        care = care if care is not None else CareRange(one.quantity)
    mine = [one for one in changes if care is not None and one.quantity is care.quantity]
    if care is None or not mine:
        return care
    numbers = {one.name: one.value for one in mine}
    names = {one.name for one in mine}
    said = tuple((one.name, f"{one.person}: {one.reason}") for one in mine)
    kept = tuple((name, source) for name, source in care.sources if name not in names)
    return replace(care, **numbers, sources=(*kept, *said))  # type: ignore[arg-type]
