"""Whose turn it is, on clocks that leap. Transitions are those of the IANA time zone database, from memory:
Europe/Berlin 2026-03-29 02:00 -> 03:00 and 2026-10-25 03:00 -> 02:00."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from api.domain.errors import InputError, RoomFileError
from api.domain.people import Person, hours_of, time_of, weekday_words, weekdays_of
from api.domain.roomfile import parse_room
from api.judge.rota import in_hours, last_time_ms, next_time_ms, opens_ms, order_in_hours, order_now

BERLIN = ZoneInfo("Europe/Berlin")
TOP = '[room]\nname = "x"\nzone = "UTC"\n'


def ms(text: str) -> int:
    """A UTC time as ms."""
    return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)


def person(name: str, hours: str, days: str = "Mon-Sun") -> Person:
    """Somebody with one phone."""
    return Person(name, ("json://x/",), weekdays_of(days), *hours_of(hours))


@pytest.mark.parametrize(
    ("at", "inside"),
    [
        ("2026-09-21T05:59", False), ("2026-09-21T06:00", False), ("2026-09-21T07:00", True),
        ("2026-09-21T21:59", True), ("2026-09-21T22:00", False), ("2026-09-20T12:00", False),
    ],
)  # fmt: skip
def test_day_hours(at: str, inside: bool) -> None:
    """From inside, to outside; Sunday is not theirs."""
    assert in_hours(person("A", "07:00-22:00", "Mon-Sat"), ms(at), ZoneInfo("UTC")) is inside


def test_hours_over_midnight_belong_to_the_day_they_begin_on() -> None:
    """Friday's night ends on Saturday morning; Saturday's own never begins."""
    night = person("N", "22:00-06:00", "Mon-Fri")
    utc = ZoneInfo("UTC")
    assert in_hours(night, ms("2026-09-26T05:59"), utc)
    assert not in_hours(night, ms("2026-09-26T22:30"), utc)
    assert not in_hours(night, ms("2026-09-21T05:59"), utc), "Sunday's night is not theirs"
    assert opens_ms(night, ms("2026-09-26T06:00"), utc) == ms("2026-09-28T22:00")


def test_the_whole_day() -> None:
    """Hours that end where they begin are the whole day, also written with 24:00."""
    for hours in ("00:00-24:00", "07:00-07:00"):
        assert all(in_hours(person("A", hours), ms(f"2026-09-21T{h:02d}:30"), BERLIN) for h in range(24))


def test_a_clock_that_leaps_forward() -> None:
    """02:30 is leapt over: hours from then begin an hour later by the wall; 07:00 is at 05:00 UTC, not 06:00."""
    assert opens_ms(person("A", "02:30-06:00"), ms("2026-03-29T00:00"), BERLIN) == ms("2026-03-29T01:30")
    assert opens_ms(person("A", "07:00-22:00"), ms("2026-03-29T00:00"), BERLIN) == ms("2026-03-29T05:00")
    assert opens_ms(person("A", "07:00-22:00"), ms("2026-03-28T21:30"), BERLIN) == ms("2026-03-29T05:00")


def test_a_clock_that_falls_back() -> None:
    """02:30 comes twice: hours begin with the first; the night is an hour longer."""
    assert opens_ms(person("A", "02:30-06:00"), ms("2026-10-25T00:00"), BERLIN) == ms("2026-10-25T00:30")
    night = person("N", "22:00-06:00")
    assert in_hours(night, ms("2026-10-25T04:59"), BERLIN)
    assert not in_hours(night, ms("2026-10-25T05:00"), BERLIN)
    assert next_time_ms(420, ms("2026-10-24T22:00"), BERLIN) == ms("2026-10-25T06:00")
    assert last_time_ms(420, ms("2026-10-25T05:59"), BERLIN) == ms("2026-10-24T05:00")


def test_who_is_first() -> None:
    """At night the night watch, by day the day's keeper; on a free day whoever has it before who is off."""
    people = [
        person("Day", "07:00-22:00", "Mon-Fri"),
        person("Night", "22:00-07:00"),
        person("Spare", "09:00-17:00", "Sun"),
    ]
    utc = ZoneInfo("UTC")
    assert order_now(people, ms("2026-09-22T12:00"), utc) == ("Day", "Night", "Spare")
    assert order_now(people, ms("2026-09-22T03:10"), utc) == ("Night", "Day", "Spare")
    assert order_now(people, ms("2026-09-27T08:00"), utc) == ("Night", "Spare", "Day"), (
        "Sunday: the day's keeper is off"
    )
    assert order_in_hours(people, ms("2026-09-27T08:00"), utc) == ("Spare", "Night", "Day")


def test_days_and_times_as_written() -> None:
    """Runs, lists, runs over the week's end; rubbish is told."""
    assert weekdays_of("Mon-Fri, Sun") == (0, 1, 2, 3, 4, 6)
    assert weekdays_of("fri-mon") == (0, 4, 5, 6)
    assert weekday_words(weekdays_of("tuesday, Mon, sat")) == "Mon, Tue, Sat"
    assert (time_of("7:05"), time_of("24:00")) == (425, 0)
    for wrong in ("", "Mon-", "Foo", "M", "Mon/Tue"):
        with pytest.raises(InputError):
            weekdays_of(wrong)
    for wrong in ("", "7-22", "07:00-25:00", "07:60-08:00", "07:00"):
        with pytest.raises(InputError):
            hours_of(wrong)


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ('[[person]]\nname = "A"\nchannels = []', 6, "channels is empty"),
        ('[[person]]\nname = "A"\nchannels = ["s3cret"]', 6, "no address"),
        ('[[person]]\nname = "A"\nchannels = ["json://x/"]\nweekdays = "Mo-Foo"', 7, "'Foo' is no day"),
        ('[[person]]\nname = "A"\nchannels = ["json://x/"]\nhours = "25:00-6:00"', 7, "25:00 is no time of day"),
        ('[[person]]\nname = "A"\nchanels = ["json://x/"]', 6, "Did you mean 'channels'?"),
        ('[[person]]\nname = "A"\nchannels = ["a://x"]\n[[person]]\nname = "A"\nchannels = ["b://x"]', 8, "twice"),
        ("[room.ladder]\nurgent_min = [0, 5, 3, 30]", 5, "Give 4 rising minutes from 0"),
        ('[room.ladder]\nurgent_min = [0, 5, "x", 30]', 5, "Give 4 rising minutes from 0"),
        ("[room.ladder]\nurgent_min = [5, 6, 7, 8]", 5, "Give 4 rising minutes from 0"),
        ('[room.ladder]\ntest_at = "noon"', 5, "'noon' is not a time"),
        ('[room.service]\naddress = "tanks"', 5, "is not usable"),
        ('[room.service]\naddress = "https://x/tanks"', 5, "without a folder"),
    ],
)  # fmt: skip
def test_mistakes_in_the_room_file(text: str, line: int, words: str) -> None:
    """Told with their line; an address is never repeated, as it may hold a password."""
    with pytest.raises(RoomFileError) as told:
        parse_room(TOP + text)
    assert f"line {line}:" in str(told.value)
    assert words in str(told.value)
    assert "s3cret" not in str(told.value)
