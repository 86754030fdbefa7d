"""Whose turn it is: who is in their hours, whose day it is, and when somebody's hours begin, on the room's own clock.

Pure. Must not do: read a clock, or know what is to be told.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta, tzinfo

from api.domain.people import DAY_MIN, Person

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def local_of(time_ms: int, zone: tzinfo) -> datetime:
    """A time on the room's clock."""
    return (EPOCH + timedelta(milliseconds=time_ms)).astimezone(zone)


def moment_ms(day: date, minute: int, zone: tzinfo) -> int:
    """When the room's clock shows a minute of a day. [ms UTC]

    ``minute`` may be 1440: the next midnight. A time the clock leaps over in spring is taken as long after midnight as
    if it did not leap; of an hour that comes twice in autumn the first one counts.
    """
    day, minute = (day + timedelta(days=1), minute - DAY_MIN) if minute >= DAY_MIN else (day, minute)
    local = datetime(day.year, day.month, day.day, minute // 60, minute % 60, tzinfo=zone)
    return round((local.astimezone(UTC) - EPOCH) / timedelta(milliseconds=1))


def hours_on(person: Person, day: date, zone: tzinfo) -> tuple[int, int] | None:
    """A person's hours that begin on a day, from (inside) to (outside); None when it is not one of their days. [ms]"""
    if day.weekday() not in person.weekdays:
        return None
    over_midnight = person.to_min <= person.from_min
    end_day = day + timedelta(days=1) if over_midnight else day
    return moment_ms(day, person.from_min, zone), moment_ms(end_day, person.to_min, zone)


def hours_now(person: Person, now_ms: int, zone: tzinfo) -> tuple[int, int] | None:
    """The hours a person is in, from (inside) to (outside); None when they are in none. [ms]"""
    today = local_of(now_ms, zone).date()
    spans = (hours_on(person, day, zone) for day in (today - timedelta(days=1), today))
    return next((span for span in spans if span is not None and span[0] <= now_ms < span[1]), None)


def in_hours(person: Person, now_ms: int, zone: tzinfo) -> bool:
    """Whether a person may be told of anything now."""
    return hours_now(person, now_ms, zone) is not None


def opens_ms(person: Person, now_ms: int, zone: tzinfo) -> int:
    """When a person may next be told of anything: now, or when their next hours begin. [ms]"""
    if in_hours(person, now_ms, zone):
        return now_ms
    today = local_of(now_ms, zone).date()
    spans = (hours_on(person, today + timedelta(days=ahead), zone) for ahead in range(9))
    # everybody has at least one weekday, so one of the next nine days holds a beginning
    return min(span[0] for span in spans if span is not None and span[0] > now_ms)


def order_now(people: Sequence[Person], now_ms: int, zone: tzinfo) -> tuple[str, ...]:
    """Who is told first of what is urgent: those in their hours, then those whose day it is, then the others.

    Among equals the order of the room file decides.
    """
    today = local_of(now_ms, zone).weekday()

    def place(person: Person) -> int:
        return 0 if in_hours(person, now_ms, zone) else 1 if today in person.weekdays else 2

    return tuple(person.name for person in sorted(people, key=place))


def order_in_hours(people: Sequence[Person], now_ms: int, zone: tzinfo) -> tuple[str, ...]:
    """Who is told first of what can wait for somebody's hours: whoever's hours come first."""
    return tuple(person.name for person in sorted(people, key=lambda person: opens_ms(person, now_ms, zone)))


def next_time_ms(minute: int, now_ms: int, zone: tzinfo) -> int:
    """When the room's clock next shows a minute of the day. [ms]"""
    today = local_of(now_ms, zone).date()
    times = (moment_ms(today + timedelta(days=ahead), minute, zone) for ahead in range(3))
    return next(time_ms for time_ms in times if time_ms > now_ms)


def last_time_ms(minute: int, now_ms: int, zone: tzinfo) -> int:
    """When the room's clock last showed a minute of the day. [ms]"""
    today = local_of(now_ms, zone).date()
    times = (moment_ms(today - timedelta(days=back), minute, zone) for back in range(3))
    return next(time_ms for time_ms in times if time_ms <= now_ms)
