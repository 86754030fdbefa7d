"""The log of what people saw and did at the tanks: entering, correcting, withdrawing, looking up.

Checks run in the writer, so that two taps at once cannot both pass. Must not do: overwrite or delete.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, replace
from typing import TypeVar

from api.domain.errors import InputError, NotFound
from api.domain.husbandry import KIND_NAMES, MOLTS, MOVES, ONE_ANIMAL, EventKind, Husbandry
from api.domain.quantity import Quantity
from api.domain.texts import person_name
from api.judge.soft_stage import REMINDERS
from api.services.entries import Entry, entry_of, event_body
from api.services.event_checks import Doubtful, Told, check_time, placed, questions, refuse
from api.services.kit_care import kit_words
from api.services.lives import Lives
from api.services.plan import RoomPlan
from api.storage.animal_base import Asked
from api.storage.base import Store

T = TypeVar("T")
MOST_KITS = 50
ALIKE_MS = 10_000
"""The same tapped twice within this time is one event. [ms]"""


@dataclass(frozen=True, slots=True)
class Logged:
    """A kept event, and what to remember now."""

    id: int
    reminders: tuple[str, ...] = ()


class EventLog:
    """Enters and withdraws events. ``after`` is called once a change is on disk."""

    def __init__(
        self, store: Store, plan: Callable[[], RoomPlan], lives: Lives, after: Callable[[], object] = lambda: None
    ) -> None:
        self._store, self._plan, self._lives, self._after = store, plan, lives, after

    def enter(
        self, event: Husbandry, person: str, now_ms: int, replaces: int | None = None, confirm: bool = False
    ) -> Future[Logged]:
        """Put an event on record; the future gives its number once it is kept.

        Raises InputError, NotFound, and Doubtful when it is unusual and was not confirmed; the last two also through
        the future.
        """
        name = person_name(person, "an entry is made")
        check_time(event.time_ms, now_ms, KIND_NAMES[event.kind])
        if event.since_ms is not None:
            check_time(event.since_ms, now_ms, "the last look")
        given = self._whose(event)
        work = lambda: self.keep(given, name, now_ms, replaces, confirm)  # noqa: E731 - one expression
        return self.write(work)

    def keep(
        self, event: Husbandry, person: str, now_ms: int, replaces: int | None = None, confirm: bool = False
    ) -> Logged:
        """Check and keep an event; in the writer only.

        Raises InputError, NotFound, Doubtful.
        """
        if replaces is not None:
            self._replaceable(replaces)
        life = self._lives.fresh(event.animal, replaces) if event.animal is not None else None
        event = replace(event, tank=placed(event, life, self._plan()))
        same = self._same(event, person) if replaces is None else None
        if same is not None:
            return Logged(same)
        if life is not None:
            told = Told(self._plan().room.zone)
            refuse(event, life, told)
            asked = [] if confirm else questions(event, life, told)
            if asked:
                raise Doubtful(asked)
        body = event_body(event)
        number = self._store.animals.add_event(
            event.kind, event.time_ms, event.tank, event.animal, body, person, now_ms, replaces
        )
        return Logged(number, (*reminders_of(event.kind), *kit_words(event, self._store, self._plan())))

    def _whose(self, event: Husbandry) -> Husbandry:
        """An event of one animal, entered for a tank in which only one lives, is that one's."""
        wanted = event.kind in ONE_ANIMAL - MOVES or event.kind is EventKind.EXUVIA
        if event.animal is not None or event.tank is None or not wanted:
            return event
        there = self._lives.in_tank(event.tank)
        if len(there) == 1:
            return replace(event, animal=there[0].id)
        if event.kind in ONE_ANIMAL:
            raise InputError(f"{KIND_NAMES[event.kind]}: {len(there)} animals are in this tank; say which one it was")
        return event

    def _same(self, event: Husbandry, person: str) -> int | None:
        """The number of the same event, entered a moment ago by the same person."""
        asked = Asked(
            event.tank, event.animal, (event.kind,), event.time_ms - ALIKE_MS, event.time_ms + ALIKE_MS, standing=True
        )
        alike = [replace(event, time_ms=0, since_ms=None)]
        for row in self._store.animals.events(asked):
            kept = entry_of(row)
            if kept.entered_by == person and replace(kept.event, time_ms=0, since_ms=None) in alike:
                return kept.id
        return None

    def withdraw(self, event: int, person: str, now_ms: int) -> Future[None]:
        """Take an event out of force; it stays on record with who did it.

        Raises InputError without a name; NotFound through the future.
        """
        name = person_name(person, "an entry is made")
        return self.write(lambda: self._withdraw(event, name, now_ms))

    def _withdraw(self, event: int, person: str, now_ms: int) -> None:
        self._replaceable(event)
        self._store.animals.withdraw_event(event, person, now_ms)

    def _replaceable(self, event: int) -> None:
        row = self._store.animals.event(event)
        if row is None:
            raise NotFound(f"there is no event {event}")
        if row.withdrawn_ms is not None:
            raise InputError(f"event {event} was withdrawn by {row.withdrawn_by} already")
        if row.replaced_by is not None:
            raise InputError(f"event {event} was corrected by event {row.replaced_by}; change that one")

    def entry(self, event: int) -> Entry:
        """One event.

        Raises NotFound.
        """
        row = self._store.animals.event(event)
        if row is None:
            raise NotFound(f"there is no event {event}")
        return entry_of(row)

    def entries(self, asked: Asked, most: int = 1000, newest_first: bool = True) -> list[Entry]:
        """Events on record."""
        return [entry_of(row) for row in self._store.animals.events(asked, most, newest_first)]

    def of_tank(self, tank: str, most: int) -> list[Entry]:
        """The newest events of a tank, withdrawn and corrected ones too."""
        return self.entries(Asked(tank=tank), most)

    def between(self, tank: str, start_ms: int, end_ms: int, most: int) -> list[Entry]:
        """The newest events of a tank in a time."""
        return self.entries(Asked(tank=tank, start_ms=start_ms, end_ms=end_ms), most)

    def of_animal(self, animal: int, most: int) -> list[Entry]:
        """The newest events of an animal, withdrawn and corrected ones too."""
        return self.entries(Asked(animal=animal), most)

    def kit_units(self) -> dict[Quantity, str]:
        """The unit each test-kit value was last read in."""
        used: dict[Quantity, str] = {}
        for entry in self.entries(Asked(kinds=(EventKind.TESTED,), standing=True), MOST_KITS):
            for one in entry.event.tested:
                used.setdefault(one.quantity, one.unit)
        return used

    def write(self, work: Callable[[], T]) -> Future[T]:
        """A change in the writer; what follows from it is looked at right after."""
        answer: Future[T] = Future()

        def kept(done: Future[T]) -> None:
            error = done.exception()
            try:
                if error is None:
                    self._after()
            finally:
                # What follows may fail, and is then logged; the change itself is on disk.
                if error is None:
                    answer.set_result(done.result())
                else:
                    answer.set_exception(error)

        self._store.write(work).add_done_callback(kept)
        return answer


def reminders_of(kind: EventKind) -> tuple[str, ...]:
    """What to remember after an event."""
    return REMINDERS if kind in MOLTS else ()
