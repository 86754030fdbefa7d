"""When the morning report is made and which night it is about, as ``[room.morning]`` says. Must not do: make it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from api.domain.errors import InputError
from api.domain.people import time_of, time_words
from api.domain.tables import Key, Place, take

KEYS = (Key("at", str, "08:00"), Key("night_from", str, "20:00"))
NEVER = "never"


@dataclass(frozen=True, slots=True)
class MorningSettings:
    """Minutes since the room's midnight. ``at``: when the night ends and its report is sent; ``sent`` False: shown
    on its page only.
    """

    at: int = 480
    night_from: int = 1200
    sent: bool = True


USUAL_MORNING = MorningSettings()


def morning_of(table: dict[str, Any], place: Place) -> MorningSettings:
    """The settings of a room file.

    Raises RoomFileError.
    """
    row = take(table, KEYS, place)
    sent = row["at"] != NEVER
    at = _minute(place, "at", row["at"]) if sent else USUAL_MORNING.at
    night_from = _minute(place, "night_from", row["night_from"])
    if at == night_from:
        raise place.wrong("the night ends when it begins.", "Give at and night_from different times.", "at")
    return MorningSettings(at, night_from, sent)


def _minute(place: Place, key: str, text: str) -> int:
    try:
        return time_of(text)
    except InputError as error:
        todo = 'Write it like "08:00"' + (', or "never" to send none.' if key == "at" else ".")
        raise place.wrong(f"{key}: {error}.", todo, key) from error


def morning_table(morning: MorningSettings) -> dict[str, Any]:
    """The settings as the room file says them."""
    at = time_words(morning.at) if morning.sent else NEVER
    return {"at": at, "night_from": time_words(morning.night_from)}
