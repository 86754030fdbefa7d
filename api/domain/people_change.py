"""Changes of people on a page, and who is told once they are put above what the room file says.

Must not do: keep anything, or check a person (``people.py`` and ``roompeople.py`` do).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from api.domain.people import Person


class PeopleStep(StrEnum):
    """What was done: a person set as given, left out, as the room file says again; all put into an order."""

    SET = "set"
    LEFT_OUT = "left_out"
    AS_FILE = "as_file"
    ORDER = "order"


@dataclass(frozen=True, slots=True)
class PeopleChange:
    """One change, from a time on. ``name`` is whom it concerns, empty for the order of all."""

    id: int
    name: str
    step: PeopleStep
    person: Person | None
    order: tuple[str, ...]
    by: str
    from_ms: int


def last_words(changes: Iterable[PeopleChange]) -> dict[str, PeopleChange]:
    """The last change of each person that still stands; ``changes`` oldest first."""
    last = {one.name: one for one in changes if one.step is not PeopleStep.ORDER}
    return {name: one for name, one in last.items() if one.step is not PeopleStep.AS_FILE}


def people_in_force(described: Sequence[Person], changes: Sequence[PeopleChange]) -> tuple[Person, ...]:
    """Who is told, in their order: the room file's people with what was changed above it."""
    last = last_words(changes)
    people: dict[str, Person] = {}
    for one in described:
        change = last.get(one.name)
        if change is None:
            people[one.name] = one
        elif change.person is not None:
            people[one.name] = change.person
    added = (one for one in last.values() if one.person is not None)
    people |= {one.name: one.person for one in sorted(added, key=lambda one: one.id) if one.person is not None}
    order = next((one.order for one in reversed(changes) if one.step is PeopleStep.ORDER), ())
    place = {name: number for number, name in enumerate(order)}
    # whoever came after the order was made stands behind those it names
    return tuple(sorted(people.values(), key=lambda one: place.get(one.name, len(place))))
