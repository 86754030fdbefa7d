"""What the animals' pages ask of the service, as a protocol. Must not do: hold any logic."""

from __future__ import annotations

from collections.abc import Collection
from concurrent.futures import Future
from typing import Annotated, Protocol, cast

from fastapi import Path, Query, Request

from api.domain.animal import Animal
from api.domain.husbandry import Husbandry
from api.domain.life import Life
from api.domain.quantity import Quantity
from api.services.animals import AnimalNow, Newcomer
from api.services.entries import Entry
from api.services.husbandry import Logged
from api.services.look_back import Interval
from api.services.molt_calendar import MoltAhead
from api.services.molts import ClutchOutlook, MoltOutlook
from api.services.report import Report
from api.services.review import RoomReview

Number = Annotated[int, Path(ge=1, lt=2**63)]
Maybe = Annotated[int | None, Query(ge=1, lt=2**63)]
"""The number of a record in an address, as far as the database can count."""


class Animals(Protocol):
    """The animals."""

    def all(self, now_ms: int) -> list[AnimalNow]:
        """Every animal."""

    def animal(self, animal: int, now_ms: int) -> AnimalNow:
        """One animal. Raises NotFound."""

    def named(self, name: str) -> Life | None:
        """The animal of a name."""

    def enter(self, given: Newcomer, person: str, now_ms: int) -> Future[int]:
        """Put one on record. Raises InputError."""

    def change(self, number: int, animal: Animal, person: str, now_ms: int) -> Future[None]:
        """Describe one anew. Raises InputError."""


class Events(Protocol):
    """The log."""

    def enter(
        self, event: Husbandry, person: str, now_ms: int, replaces: int | None = None, confirm: bool = False
    ) -> Future[Logged]:
        """Put an event on record. Raises InputError, Doubtful."""

    def withdraw(self, event: int, person: str, now_ms: int) -> Future[None]:
        """Take one out of force. Raises InputError, NotFound."""

    def entry(self, event: int) -> Entry:
        """One event. Raises NotFound."""

    def of_tank(self, tank: str, most: int) -> list[Entry]:
        """The newest events of a tank."""

    def between(self, tank: str, start_ms: int, end_ms: int, most: int) -> list[Entry]:
        """The newest events of a tank in a time."""

    def of_animal(self, animal: int, most: int) -> list[Entry]:
        """The newest events of an animal."""

    def kit_units(self) -> dict[Quantity, str]:
        """The unit each test-kit value was last read in."""


class Molts(Protocol):
    """What is to come."""

    def of(self, animal: int, now_ms: int) -> MoltOutlook | None:
        """One animal's next molt; None when nothing is foretold."""

    def clutch(self, animal: int, now_ms: int) -> ClutchOutlook | None:
        """What is expected of eggs or young. Raises NotFound."""


class Calendar(Protocol):
    """The weeks ahead."""

    def ahead(self, now_ms: int, tanks: Collection[str] | None = None) -> MoltAhead:
        """The three weeks ahead of some tanks' animals, or of all."""


class Review(Protocol):
    """Fitness for molts."""

    def review(self, tanks: Collection[str] | None, start_ms: int, end_ms: int, now_ms: int) -> RoomReview:
        """Some tanks for a span of days. Raises InputError, NotFound."""


class LookBack(Protocol):
    """Past intervals."""

    def intervals(self, now_ms: int, animals: Collection[int] | None = None) -> tuple[Interval, ...]:
        """Every past interval with its water."""


class Reports(Protocol):
    """Conditions."""

    def report(self, tanks: Collection[str] | None, start_ms: int, end_ms: int, now_ms: int) -> Report:
        """Some tanks over a time. Raises InputError, NotFound."""


class Colony(Protocol):
    """The part of the service that knows animals."""

    @property
    def animals(self) -> Animals:
        """The animals."""

    @property
    def molts(self) -> Molts:
        """What is to come."""

    @property
    def calendar(self) -> Calendar:
        """The weeks ahead."""

    @property
    def look_back(self) -> LookBack:
        """Past intervals."""

    @property
    def reports(self) -> Reports:
        """Conditions."""

    @property
    def review(self) -> Review:
        """Fitness for molts."""

    @property
    def events(self) -> Events:
        """The log."""

    def now_ms(self) -> int:
        """The clock."""


def colony(request: Request) -> Colony:
    """The service, as these pages see it."""
    return cast(Colony, request.app.state.service)
