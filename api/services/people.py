"""The People page's questions: who is told in which order, how each channel did last, and a test message now.

Must not do: give an address away; of each only its kind is told.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from api.domain.alert import Priority
from api.domain.people import LadderSettings, Person
from api.judge import rota
from api.judge.ladder import Ladder, rung_of
from api.services.addresses import addresses, kind_of, wanting, zone_of
from api.services.daily_test import DailyTest
from api.services.links import address_of
from api.services.plan import RoomPlan
from api.storage.base import Store
from api.storage.reach_base import SentTest


@dataclass(frozen=True, slots=True)
class ChannelNow:
    """One channel: its name in the outbox, its kind (mailto, json ...), and its newest test; None: none yet."""

    target: str
    kind: str
    test: SentTest | None


@dataclass(frozen=True, slots=True)
class PersonNow:
    """One person. ``turn``: 1 is told first of what is urgent now. ``opens_ms``: when they may be told of the rest."""

    person: Person
    turn: int | None
    in_hours: bool
    opens_ms: int
    channels: tuple[ChannelNow, ...]


@dataclass(frozen=True, slots=True)
class LadderNow:
    """How far the telling of one alert is. ``next_ms`` None: nobody else will be told by it.

    ``names``: whom the next rung tells. ``going``: who has it until ``until_ms`` (None: until it is over).
    """

    alert: int
    next_ms: int | None
    names: tuple[str, ...]
    going: str
    until_ms: int | None


@dataclass(frozen=True, slots=True)
class PeopleNow:
    """Everybody who is told. ``room``: the room's own addresses. ``address``: where links lead; empty: no links."""

    people: tuple[PersonNow, ...]
    room: tuple[ChannelNow, ...]
    ladder: LadderSettings
    address: str
    ladders: tuple[LadderNow, ...]


class People:
    """Answers, and sends test messages."""

    def __init__(self, store: Store, plan: Callable[[], RoomPlan], tests: DailyTest) -> None:
        self._store, self._plan, self._tests = store, plan, tests

    def now(self, now_ms: int) -> PeopleNow:
        """Everybody, in the order of the room file."""
        plan = self._plan()
        zone, tests = zone_of(plan), self._tests.newest()
        channels = {
            target: ChannelNow(target, kind_of(address), tests.get(target))
            for target, address in addresses(plan).items()
        }
        order = rota.order_now(wanting(plan, Priority.URGENT), now_ms, zone)
        people = tuple(
            PersonNow(
                person=one,
                turn=order.index(one.name) + 1 if one.name in order else None,
                in_hours=rota.in_hours(one, now_ms, zone),
                opens_ms=rota.opens_ms(one, now_ms, zone),
                channels=tuple(channels[one.target(number)] for number in range(len(one.channels))),
            )
            for one in plan.people
        )
        room = tuple(channels[one.name] for one in plan.notify)
        ladders = tuple(_told(one) for one in self._store.reach.ladders() if not one.over)
        return PeopleNow(people, room, plan.ladder, address_of(plan), ladders)

    def send_test(self, now_ms: int) -> list[str]:
        """Send everybody a test message now; by whom or what it goes."""
        return self._tests.send(now_ms)


def _told(ladder: Ladder) -> LadderNow:
    rung = rung_of(ladder)
    names = rung.people if ladder.next_ms is not None and ladder.began_ms else ()
    return LadderNow(ladder.alert, ladder.next_ms, names, ladder.going, ladder.until_ms)
