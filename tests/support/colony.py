"""Animals in the test room, entered the way a keeper does."""

from __future__ import annotations

from typing import Any

from api.domain.animal import Animal, Sex
from api.domain.husbandry import EventKind, Husbandry
from api.services.animals import Newcomer
from api.services.entries import Entry
from api.storage.animal_base import Asked
from tests.support.rooms import TestRoom

DAY_MS, HOUR_MS = 86_400_000, 3_600_000


def settle(lab: TestRoom, name: str, tank: str | None = "t1", *, days_ago: float = 0.0, **known: Any) -> int:
    """Enter an animal some days ago and return its number."""
    now_ms = lab.now_ms
    lab.now_ms = now_ms - round(days_ago * DAY_MS)
    animal = Animal(name, known.pop("species", "Procambarus virginalis"), known.pop("sex", Sex.FEMALE))
    number = lab.service.animals.enter(Newcomer(animal, tank, **known), "Aki", lab.now_ms).result(10)
    lab.now_ms = now_ms
    return number


def log(lab: TestRoom, kind: EventKind, animal: int | None = None, *, days_ago: float = 0.0, **said: Any) -> int:
    """Log an event that happened some days ago and return its number."""
    replaces, confirm = said.pop("replaces", None), said.pop("confirm", False)
    event = Husbandry(kind, lab.now_ms - round(days_ago * DAY_MS), animal=animal, **said)
    return lab.service.events.enter(event, "Aki", lab.now_ms, replaces, confirm).result(10).id


def entries(lab: TestRoom, **asked: Any) -> list[Entry]:
    """Everything on record, oldest first."""
    return lab.service.events.entries(Asked(**asked), -1, newest_first=False)
