"""The animals: entering, describing anew, photographs, and what is known of each now.

Must not do: lose an earlier description; every change is a new version with who made it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from api.domain.animal import Animal, Limb, LimbState
from api.domain.errors import InputError, NotFound
from api.domain.husbandry import EventKind, Husbandry
from api.domain.life import Life, Stage
from api.domain.texts import person_name
from api.judge.soft_stage import hard_from_ms, soft_until_ms, stage_at
from api.molt.species_table import figures_of
from api.services.entries import animal_body, animal_of
from api.services.event_checks import Told, check_time
from api.services.husbandry import EventLog
from api.services.lives import Lives
from api.services.plan import RoomPlan
from api.storage.animal_base import Photograph
from api.storage.base import Store

MOST_PHOTOGRAPH_BYTES = 4_000_000
SIGNATURES = (("image/jpeg", 0, b"\xff\xd8\xff"), ("image/png", 0, b"\x89PNG\r\n\x1a\n"), ("image/webp", 8, b"WEBP"))
KIND_OF_LIMB = {
    LimbState.LOST: EventKind.LIMB_LOST,
    LimbState.REGROWING: EventKind.LIMB_REGROWING,
    LimbState.PRESENT: EventKind.LIMB_REGROWN,
}


@dataclass(frozen=True, slots=True)
class Newcomer:
    """An animal with what is known of it when it is entered. Days are on the room's calendar."""

    animal: Animal
    tank: str | None = None
    carapace_mm: float | None = None
    mass_g: float | None = None
    measured: date | None = None
    last_molt: date | None = None
    limbs: Mapping[Limb, LimbState] = field(default_factory=dict)
    weighed: date | None = None
    """Day of the mass, when it is another than that of the length."""


@dataclass(frozen=True, slots=True)
class AnimalNow:
    """An animal as it stands. ``soft_until_ms`` and ``hard_from_ms`` are set after a molt until it is hard."""

    life: Life
    tank_name: str
    stage: Stage
    soft_until_ms: int | None
    hard_from_ms: int | None
    photographed: bool

    @property
    def id(self) -> int:
        """Its number."""
        return self.life.id

    @property
    def animal(self) -> Animal:
        """Its description."""
        return self.life.animal


class Animals:
    """Enters and answers."""

    def __init__(self, store: Store, plan: Callable[[], RoomPlan], lives: Lives, log: EventLog) -> None:
        self._store, self._plan, self._lives, self._log = store, plan, lives, log

    def all(self, now_ms: int) -> list[AnimalNow]:
        """Every animal, in the order they were entered."""
        pictured = self._store.animals.photographed()
        return [self._now(life, now_ms, life.id in pictured) for life in self._lives.all().values()]

    def animal(self, animal: int, now_ms: int) -> AnimalNow:
        """One animal.

        Raises NotFound.
        """
        return self._now(self._lives.get(animal), now_ms, self._store.animals.photograph(animal) is not None)

    def _now(self, life: Life, now_ms: int, pictured: bool) -> AnimalNow:
        tanks = self._plan().tanks
        tank = tanks[life.tank].name if life.tank in tanks else (life.tank or "")
        stage = stage_at(life.molts, now_ms) if life.alive else Stage.HARD
        last = life.last_molt if stage is not Stage.HARD else None
        return AnimalNow(
            life=life,
            tank_name=tank,
            stage=stage,
            soft_until_ms=soft_until_ms(last) if last is not None else None,
            hard_from_ms=hard_from_ms(last) if last is not None else None,
            photographed=pictured,
        )

    def named(self, name: str) -> Life | None:
        """The animal of a name, capital letters or not."""
        return next((life for life in self._lives.all().values() if _key(life.animal) == name.strip().casefold()), None)

    def enter(self, given: Newcomer, person: str, now_ms: int) -> Future[int]:
        """Put an animal on record with what is known of it; the future gives its number.

        Raises InputError, NotFound; both also through the future.
        """
        name = person_name(person, "an entry is made")
        events = self.events_of(None, given, now_ms)
        return self._log.write(lambda: self._enter(given.animal, events, name, now_ms))

    def _enter(self, animal: Animal, events: Sequence[Husbandry], person: str, now_ms: int) -> int:
        self._free_name(animal, None)
        number = self._store.animals.add_animal(animal_body(animal), person, now_ms)
        for event in events:
            self._log.keep(replace(event, animal=number), person, now_ms, confirm=True)
        return number

    def change(self, number: int, animal: Animal, person: str, now_ms: int) -> Future[None]:
        """Describe an animal anew; the earlier description stays on record.

        Raises InputError; NotFound through the future.
        """
        name = person_name(person, "an entry is made")
        return self._log.write(lambda: self._change(number, animal, name, now_ms))

    def _change(self, number: int, animal: Animal, person: str, now_ms: int) -> None:
        kept = self._store.animals.animal(number)
        if kept is None:
            raise NotFound(f"there is no animal {number}")
        self._free_name(animal, number)
        if animal_of(kept.body) != animal:
            self._store.animals.change_animal(number, animal_body(animal), person, now_ms)

    def renew(self, number: int, given: Newcomer, person: str, now_ms: int, confirm: bool = False) -> Future[int]:
        """Describe an animal anew and note what is new of its size, tank, molt and limbs; the number of changes.

        Raises InputError; NotFound and Doubtful through the future.
        """
        name = person_name(person, "an entry is made")

        def work() -> int:
            before = self._store.animals.touched()
            life = self._lives.fresh(number)
            self._change(number, given.animal, name, now_ms)
            for event in self.events_of(life, given, now_ms):
                self._log.keep(event, name, now_ms, confirm=confirm)
            return self._store.animals.touched() - before

        return self._log.write(work)

    def _free_name(self, animal: Animal, mine: int | None) -> None:
        for row in self._store.animals.animals():
            if row.id != mine and _key(animal_of(row.body)) == _key(animal):
                raise InputError(f"there is an animal {animal.name!r} already; give this one another name or tag")

    def events_of(self, life: Life | None, given: Newcomer, now_ms: int) -> list[Husbandry]:
        """What a description says that is not on record yet, as events.

        Raises InputError, NotFound.
        """
        told = Told(self._plan().room.zone)
        number = life.id if life is not None else None
        arrived_ms = self._noon_ms(given.animal.arrived, now_ms)
        events: list[Husbandry] = []
        if given.tank and (life is None or life.tank != given.tank):
            if given.tank not in self._plan().tanks:
                raise NotFound(f"there is no tank {given.tank[:80]!r}")
            at_ms = arrived_ms if life is None else now_ms
            events.append(Husbandry(EventKind.MOVED, at_ms, given.tank, number))
        if given.last_molt is not None:
            days = {told.local(molt.time_ms).date() for molt in (life.molts if life is not None else ())}
            if given.last_molt not in days:
                events.append(Husbandry(EventKind.MOLT, self._noon_ms(given.last_molt, now_ms), animal=number))
        if given.carapace_mm is not None or given.mass_g is not None:
            events += self._size(life, given, arrived_ms if life is None else now_ms, told)
        for limb, state in given.limbs.items():
            before = life.limbs.get(limb, LimbState.PRESENT) if life is not None else LimbState.PRESENT
            if before is not state:
                at_ms = arrived_ms if life is None else now_ms
                events.append(Husbandry(KIND_OF_LIMB[state], at_ms, animal=number, limb=limb))
        for event in events:
            check_time(event.time_ms, now_ms, "what is said of it")
        return sorted(events, key=lambda one: one.time_ms)

    def _size(self, life: Life | None, given: Newcomer, usual_ms: int, told: Told) -> list[Husbandry]:
        """Measurements that are news: length and mass of one day are one."""
        parts = [(given.measured, given.carapace_mm, given.mass_g)]
        if given.weighed not in (None, given.measured):
            parts = [(given.measured, given.carapace_mm, None), (given.weighed, None, given.mass_g)]
        number = life.id if life is not None else None
        events = []
        for day, carapace_mm, mass_g in parts:
            kept = [(carapace_mm, life.measured if life else None), (mass_g, life.weighed if life else None)]
            known = [
                size is not None
                and value in (size.carapace_mm, size.mass_g)
                and day in (None, told.local(size.time_ms).date())
                for value, size in kept
                if value is not None
            ]
            if not all(known):
                at_ms = usual_ms if day is None else self._noon_ms(day, usual_ms)
                one = Husbandry(EventKind.MEASURED, at_ms, animal=number, carapace_mm=carapace_mm, mass_g=mass_g)
                events.append(one)
        return events

    def _noon_ms(self, day: date | None, now_ms: int) -> int:
        """The middle of a day on the room's clock; now for today or for no day."""
        if day is None:
            return now_ms
        zone = ZoneInfo(self._plan().room.zone)
        noon_ms = round(datetime.combine(day, time(12), zone).timestamp() * 1000)
        today = Told(self._plan().room.zone).local(now_ms).date()
        return now_ms if day == today else noon_ms

    def put_photograph(self, number: int, content: bytes, person: str, now_ms: int) -> Future[None]:
        """Keep a picture of an animal.

        Raises NotFound, InputError for what is no picture or too large a one.
        """
        name = person_name(person, "an entry is made")
        self._lives.get(number)
        media_type = picture_type(content)
        return self._store.write(lambda: self._store.animals.add_photograph(number, content, media_type, name, now_ms))

    def photograph(self, number: int) -> Photograph:
        """The newest picture of an animal.

        Raises NotFound.
        """
        found = self._store.animals.photograph(number)
        if found is None:
            raise NotFound(f"there is no photograph of animal {number}")
        return found


def picture_type(content: bytes) -> str:
    """The media type of a picture by what is in it.

    Raises InputError.
    """
    if len(content) > MOST_PHOTOGRAPH_BYTES:
        raise InputError(f"this picture is too large; at most {MOST_PHOTOGRAPH_BYTES // 1_000_000} MB are kept")
    for media_type, at, mark in SIGNATURES:
        if content[at : at + len(mark)] == mark and (media_type != "image/webp" or content[:4] == b"RIFF"):
            return media_type
    raise InputError("this is no JPEG, PNG or WebP picture")


def remarks(animal: Animal) -> tuple[str, ...]:
    """What to know of a description that is taken all the same."""
    if not animal.species.strip():
        return ("No species is given: the time of its molts can only be guessed widely.",)
    if not figures_of(animal.species).known:
        return (f"Species {animal.species!r} has no figures of its own here: its molts are guessed more widely.",)
    return ()


def _key(animal: Animal) -> str:
    return animal.name.strip().casefold()
