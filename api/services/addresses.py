"""Where messages go: the room's own addresses and every channel of every person, by the name the outbox knows them by.

Must not do: let an address out to a page; those show its kind only.
"""

from __future__ import annotations

from collections.abc import Iterable
from zoneinfo import ZoneInfo

from api.domain.alert import PRIORITY_ORDER, Priority
from api.domain.people import Person
from api.judge.rota import in_hours, order_now
from api.services.plan import RoomPlan


def addresses(plan: RoomPlan) -> dict[str, str]:
    """Apprise addresses by target."""
    found = {notify.name: notify.url for notify in plan.notify}
    for person in plan.people:
        found |= {person.target(number): address for number, address in enumerate(person.channels)}
    return found


def owner_of(target: str, plan: RoomPlan) -> Person | None:
    """Whose channel a target is; None for the room's own addresses."""
    return next((p for p in plan.people if target in targets_of(p, every_channel=True)), None)


def targets_of(person: Person, *, every_channel: bool) -> list[str]:
    """A person's channels, or their first."""
    return [person.target(number) for number in range(len(person.channels) if every_channel else 1)]


def wanting(plan: RoomPlan, priority: Priority) -> list[Person]:
    """People who want to be told of this priority."""
    return [one for one in plan.people if wants(one.priority, priority)]


def wants(least: str, priority: Priority) -> bool:
    """Whether somebody who asked for ``least`` and all above it is told of a priority."""
    return PRIORITY_ORDER[priority] <= PRIORITY_ORDER[Priority(least)]


def named(plan: RoomPlan, names: Iterable[str]) -> list[Person]:
    """People by name, in the order asked for; those who are not in the room file any more are left out."""
    known = {person.name: person for person in plan.people}
    return [known[name] for name in names if name in known]


def room_targets(plan: RoomPlan, priority: Priority) -> list[str]:
    """The room's own addresses that want this priority."""
    return [notify.name for notify in plan.notify if wants(notify.priority, priority)]


def first_targets(plan: RoomPlan, priority: Priority, now_ms: int) -> list[str]:
    """Every channel of whoever is told first now; nobody outside their hours, unless it is urgent."""
    zone, people = zone_of(plan), wanting(plan, priority)
    if priority is not Priority.URGENT:
        people = [one for one in people if in_hours(one, now_ms, zone)]
    first = named(plan, order_now(people, now_ms, zone)[:1])
    return [target for one in first for target in targets_of(one, every_channel=True)]


def zone_of(plan: RoomPlan) -> ZoneInfo:
    """The room's zone."""
    return ZoneInfo(plan.room.zone)


def kind_of(address: str) -> str:
    """What kind of address it is, without anything secret."""
    return address.partition("://")[0]


def unreachable(plan: RoomPlan) -> bool:
    """Whether nobody at all is told of alerts."""
    return not plan.notify and not plan.people
