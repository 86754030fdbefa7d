"""People who are told of alerts: their order, weekdays, hours and channels; and when the ladder climbs to the next.

Must not do: tell whose turn it is (``api/judge/rota.py``).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from api.domain.alert import Priority
from api.domain.errors import InputError

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
DAY_MIN = 1440
_HOURS = re.compile(r"(\d{1,2}):(\d{2})\s*(?:-|–|to)\s*(\d{1,2}):(\d{2})\Z")
_TIME = re.compile(r"(\d{1,2}):(\d{2})\Z")


@dataclass(frozen=True, slots=True)
class Person:
    """One who can be told. ``weekdays`` are 0 (Monday) to 6; minutes count from the room's midnight.

    Hours with ``to_min`` at or before ``from_min`` go over midnight and belong to the day they begin on.
    Outside their hours a person is told of what is urgent and of nothing else.
    """

    name: str
    channels: tuple[str, ...]
    weekdays: tuple[int, ...] = (0, 1, 2, 3, 4, 5, 6)
    from_min: int = 420
    to_min: int = 1320
    priority: str = "today"

    def target(self, channel: int) -> str:
        """What a channel is called in the outbox and on pages; channels count from 0."""
        return f"{self.name}, channel {channel + 1}"


@dataclass(frozen=True, slots=True)
class LadderSettings:
    """When the ladder climbs, in minutes after an alert began, and how long an acknowledgement holds.

    0, 5, 15 and 30 minutes, then every 30, and 45 minutes for an acknowledgement (30 to 60): common practice of
    night paging, no source. The slower steps of what is not urgent: judgement.
    """

    urgent_min: tuple[float, ...] = (0.0, 5.0, 15.0, 30.0)
    today_min: tuple[float, ...] = (0.0, 60.0, 240.0)
    repeat_min: float = 30.0
    acknowledged_min: float = 45.0
    leave_until: int = 420
    test_at: int | None = 600
    link_hours: float = 12.0

    def after_min(self, priority: Priority) -> tuple[float, ...]:
        """The rungs' times for one priority."""
        return {Priority.URGENT: self.urgent_min, Priority.TODAY: self.today_min, Priority.NOTE: (0.0,)}[priority]


USUAL_LADDER = LadderSettings()


def weekdays_of(text: str) -> tuple[int, ...]:
    """ "Mon-Fri, Sun" as day numbers, Monday 0.

    Raises InputError.
    """
    found: set[int] = set()
    for part in filter(None, (one.strip() for one in text.split(","))):
        first, dash, last = (one.strip() for one in part.replace("–", "-").partition("-"))
        start, end = _weekday(first), _weekday(last if dash else first)
        found |= {day % 7 for day in range(start, end + 1 if end >= start else end + 8)}
    if not found:
        raise InputError("no day is named; write days such as 'Mon-Fri, Sun'")
    return tuple(sorted(found))


def _weekday(word: str) -> int:
    for number, name in enumerate(_DAYS):
        if len(word) >= 2 and name.startswith(word.lower()):
            return number
    raise InputError(f"{word!r} is no day of the week; write days such as 'Mon-Fri, Sun'")


def weekday_words(days: tuple[int, ...]) -> str:
    """Day numbers as one writes them."""
    if len(days) == 7:
        return "every day"
    runs: list[list[int]] = []
    for day in days:
        if runs and runs[-1][-1] == day - 1:
            runs[-1].append(day)
        else:
            runs.append([day])
    return ", ".join(
        WEEKDAYS[run[0]] if len(run) == 1 else f"{WEEKDAYS[run[0]]}{'-' if len(run) > 2 else ', '}{WEEKDAYS[run[-1]]}"
        for run in runs
    )


def hours_of(text: str) -> tuple[int, int]:
    """ "07:00-22:00" as minutes since midnight.

    Raises InputError.
    """
    found = _HOURS.match(text.strip())
    if found is None:
        raise InputError(f"{text!r} is not hours such as '07:00-22:00'")
    start, end = _minute(found[1], found[2]), _minute(found[3], found[4])
    if start == DAY_MIN:
        start = 0
    return start, end


def time_of(text: str) -> int:
    """ "07:00" as minutes since midnight.

    Raises InputError.
    """
    found = _TIME.match(text.strip())
    if found is None:
        raise InputError(f"{text[:20]!r} is not a time such as '07:00'")
    return _minute(found[1], found[2]) % DAY_MIN


def _minute(hour: str, minute: str) -> int:
    total = int(hour) * 60 + int(minute)
    if int(minute) > 59 or total > DAY_MIN:
        raise InputError(f"{hour}:{minute} is no time of day")
    return total


def time_words(minute: int) -> str:
    """Minutes since midnight as a clock shows them."""
    return f"{minute // 60:02d}:{minute % 60:02d}"
