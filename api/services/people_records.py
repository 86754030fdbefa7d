"""People and ladder among the room's records: kept with the room, in their order. Must not do: read a file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import TypeAdapter

from api.domain.morning import MorningSettings
from api.domain.people import LadderSettings, Person
from api.domain.tank import RoomFile

PEOPLE, LADDER = TypeAdapter(tuple[Person, ...]), TypeAdapter(LadderSettings)
MORNING = TypeAdapter(MorningSettings)


def people_body(file: RoomFile) -> dict[str, Any]:
    """What is kept of a room file's people and ladder."""
    return {
        "people": PEOPLE.dump_python(file.people, mode="json"),
        "ladder": LADDER.dump_python(file.ladder, mode="json"),
        "morning": MORNING.dump_python(file.morning, mode="json"),
    }


def people_in(body: Mapping[str, Any]) -> tuple[Person, ...]:
    """The people of a kept room, in their order."""
    return PEOPLE.validate_python(body.get("people", ()))


def ladder_in(body: Mapping[str, Any]) -> LadderSettings:
    """The ladder of a kept room."""
    return LADDER.validate_python(body.get("ladder", {}))


def morning_in(body: Mapping[str, Any]) -> MorningSettings:
    """When the morning report of a kept room is made."""
    return MORNING.validate_python(body.get("morning", {}))
