"""What the services ask of a store of animals and of what happened to them, as a protocol.

Promises: nothing is overwritten or deleted; a change of an animal is a new version, a correction a new event that
names the one it replaces, and what was withdrawn stays with who did it. Writes inside ``Store.write`` only.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple, Protocol


class AnimalRow(NamedTuple):
    """An animal as it is kept; ``touched`` grows with every change of it or of its events."""

    id: int
    body: dict[str, Any]
    entered_ms: int
    entered_by: str
    touched: int


class EventRow(NamedTuple):
    """An event as it is kept. ``replaced_by`` is the correction in force, None when there is none."""

    id: int
    kind: str
    time_ms: int
    tank: str | None
    animal: int | None
    body: dict[str, Any]
    entered_ms: int
    entered_by: str
    replaces: int | None
    withdrawn_ms: int | None
    withdrawn_by: str
    replaced_by: int | None


class Photograph(NamedTuple):
    """A picture as it was given."""

    content: bytes
    media_type: str
    entered_ms: int
    entered_by: str


@dataclass(frozen=True, slots=True)
class Asked:
    """Which events are asked for; None means any. ``start_ms`` inside, ``end_ms`` outside."""

    tank: str | None = None
    animal: int | None = None
    kinds: Collection[str] | None = None
    start_ms: int | None = None
    end_ms: int | None = None
    standing: bool = False
    """Only those neither withdrawn nor replaced."""


class AnimalStore(Protocol):
    """Keeps animals, events and photographs."""

    def add_animal(self, body: Mapping[str, Any], person: str, now_ms: int) -> int:
        """Keep a new animal and return its number."""

    def change_animal(self, animal: int, body: Mapping[str, Any], person: str, now_ms: int) -> None:
        """A new version of an animal; earlier ones stay."""

    def animals(self, newer_than: int = -1) -> list[AnimalRow]:
        """Animals touched since, in the order they were entered."""

    def animal(self, animal: int) -> AnimalRow | None:
        """One animal."""

    def versions(self, animal: int) -> list[AnimalRow]:
        """Every version of an animal, oldest first."""

    def touched(self) -> int:
        """Grows with every change of any animal."""

    def add_event(
        self,
        kind: str,
        time_ms: int,
        tank: str | None,
        animal: int | None,
        body: Mapping[str, Any],
        person: str,
        now_ms: int,
        replaces: int | None = None,
    ) -> int:
        """Keep an event and return its number."""

    def withdraw_event(self, event: int, person: str, now_ms: int) -> None:
        """Take an event out of force; it stays on record."""

    def event(self, event: int) -> EventRow | None:
        """One event."""

    def events(self, asked: Asked, most: int = -1, newest_first: bool = False) -> list[EventRow]:
        """Events by their time, ``most`` of them at most (-1: all)."""

    def of_animals(self, animals: Sequence[int], kinds: Collection[str]) -> list[EventRow]:
        """Standing events of these animals, in the order of time."""

    def add_photograph(self, animal: int, content: bytes, media_type: str, person: str, now_ms: int) -> None:
        """Keep a picture of an animal; the newest one is shown."""

    def photograph(self, animal: int) -> Photograph | None:
        """The newest picture of an animal."""

    def photographed(self) -> frozenset[int]:
        """The animals that have a picture."""
