"""``[[person]]`` and ``[room.ladder]`` of ``room.toml``: keys, and tables to people, with the line of what is wrong.

Must not do: read a file (``roomfile.py`` is given its text).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import pairwise
from typing import Any
from urllib.parse import urlsplit

from api.domain.errors import InputError
from api.domain.people import (
    LadderSettings,
    Person,
    hours_of,
    time_of,
    time_words,
    weekday_words,
    weekdays_of,
)
from api.domain.tables import Key, Place, take

PERSON = (
    Key("name", str, required=True),
    Key("channels", list, required=True),
    Key("weekdays", str, "Mon-Sun"),
    Key("hours", str, "07:00-22:00"),
    Key("priority", str, "today", choices=("urgent", "today", "note")),
)
LADDER = (
    Key("urgent_min", list),
    Key("today_min", list),
    Key("repeat_min", float, 30.0, low=5, high=1440),
    Key("acknowledged_min", float, 45.0, low=5, high=1440),
    Key("leave_until", str, "07:00"),
    Key("test_at", str, "10:00"),
    Key("link_hours", float, 12.0, low=1, high=168),
)
NO_TEST = "never"


def people_of(rows: Iterable[tuple[dict[str, Any], Place]]) -> tuple[Person, ...]:
    """People in the order of the file; rows are read by ``PERSON`` and have names of their own.

    Raises RoomFileError.
    """
    return tuple(_person(row, place) for row, place in rows)


def _person(row: dict[str, Any], place: Place) -> Person:
    name = " ".join(row["name"].split())
    if not 0 < len(name) <= 80 or not name.isprintable():
        raise place.wrong(f"name = {row['name'][:40]!r} is not usable.", "Give 1 to 80 characters.", "name")
    if not row["channels"]:
        raise place.wrong("channels is empty.", 'Give at least one address: channels = ["mailto://..."].', "channels")
    for address in row["channels"]:
        if not isinstance(address, str) or not urlsplit(address).scheme:
            # the address itself may hold a password, so it is not repeated
            raise place.wrong(
                "channels holds something that is no address.", 'Write it like "mailto://...".', "channels"
            )
    if len(set(row["channels"])) < len(row["channels"]):
        raise place.wrong("channels names the same address twice.", "Leave one out.", "channels")
    weekdays = _told(place, "weekdays", weekdays_of, row["weekdays"])
    from_min, to_min = _told(place, "hours", hours_of, row["hours"])
    return Person(name, tuple(row["channels"]), weekdays, from_min, to_min, row["priority"])


def ladder_of(table: dict[str, Any], place: Place) -> LadderSettings:
    """The ladder's settings.

    Raises RoomFileError.
    """
    row = take(table, LADDER, place)
    test_at = None if row["test_at"] == NO_TEST else _told(place, "test_at", time_of, row["test_at"])
    made = LadderSettings(
        repeat_min=row["repeat_min"],
        acknowledged_min=row["acknowledged_min"],
        leave_until=_told(place, "leave_until", time_of, row["leave_until"]),
        test_at=test_at,
        link_hours=row["link_hours"],
    )
    if row["urgent_min"] is not None:
        made = replace(made, urgent_min=_minutes(row["urgent_min"], "urgent_min", 4, place))
    if row["today_min"] is not None:
        made = replace(made, today_min=_minutes(row["today_min"], "today_min", 3, place))
    return made


def _minutes(given: list[Any], key: str, most: int, place: Place) -> tuple[float, ...]:
    numbers = [float(one) for one in given if isinstance(one, int | float) and not isinstance(one, bool)]
    rising = all(after > before for before, after in pairwise(numbers))
    if len(numbers) != len(given) or len(numbers) != most or numbers[0] != 0 or not rising or numbers[-1] > 1440:
        example = [0, 5, 15, 30] if most == 4 else [0, 60, 240]
        raise place.wrong(
            f"{key} = {given!r} is not usable.", f"Give {most} rising minutes from 0, such as {example}.", key
        )
    return tuple(numbers)


def _told(place: Place, key: str, read: Any, text: str) -> Any:
    try:
        return read(text)
    except InputError as error:
        raise place.wrong(f"{key}: {error}.", key=key) from error


def address_of(text: str, place: Place) -> str:
    """The address under which phones reach the pages, without a slash at its end; empty when none is given.

    Raises RoomFileError.
    """
    parts = urlsplit(text)
    usable = parts.scheme in ("http", "https") and parts.hostname and not parts.query and not parts.fragment
    if text and not (usable and parts.path in ("", "/")):
        todo = 'Write it like "https://tanks.example", without a folder: the pages need a name of their own.'
        raise place.wrong(f"address = {text!r} is not usable.", todo, "address")
    return text.rstrip("/")


def person_table(person: Person) -> dict[str, Any]:
    """A person as the room file says it."""
    return {
        "name": person.name,
        "channels": list(person.channels),
        "weekdays": "Mon-Sun" if len(person.weekdays) == 7 else weekday_words(person.weekdays),
        "hours": f"{time_words(person.from_min)}-{time_words(person.to_min)}",
        "priority": person.priority,
    }


def ladder_table(ladder: LadderSettings) -> dict[str, Any]:
    """The ladder's settings as the room file says them."""
    return {
        "urgent_min": list(ladder.urgent_min),
        "today_min": list(ladder.today_min),
        "repeat_min": ladder.repeat_min,
        "acknowledged_min": ladder.acknowledged_min,
        "leave_until": time_words(ladder.leave_until),
        "test_at": NO_TEST if ladder.test_at is None else time_words(ladder.test_at),
        "link_hours": ladder.link_hours,
    }
