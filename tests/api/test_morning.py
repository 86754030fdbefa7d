"""The morning report: made of a night on the whole service, sent at its hour to those in their hours, once."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from api.domain.band import Band
from api.domain.errors import RoomFileError
from api.domain.morning import MorningSettings
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.roomfile import parse_room
from api.services.morning_words import body, summary, tank_line
from tests.support.reach_room import LADDER, PEOPLE, ReachRoom, reach_room
from tests.support.rooms import ROOM

EVENING = "2026-09-21T19:30"
TUESDAY = date(2026, 9, 22)
NOTIFY = """
[[notify]]
name = "board"
url = "json://board/"
[[notify]]
name = "siren"
url = "json://siren/"
priority = "urgent"
"""
LATE_CLEO = PEOPLE.replace('name = "Ben"', 'name = "Ben"\npriority = "urgent"').replace(
    'name = "Cleo"', 'name = "Cleo"\nhours = "12:00-20:00"'
)


@pytest.fixture
def night(tmp_path: Path) -> Iterator[ReachRoom]:
    """A room on a Monday evening; Ana from 07:00, Ben for what is urgent only, Cleo from noon."""
    with reach_room(tmp_path, LATE_CLEO + NOTIFY, LADDER, EVENING) as one:
        one.service.morning.post.look()
        yield one


def speak(one: ReachRoom, minutes: int, oxygen: dict[str, float]) -> None:
    """Time passes; the probes speak every two minutes, and scatter a little as live ones do."""
    for n in range(minutes // 2):
        one.now_ms += 120_000
        wave = 0.02 * ((n * 7) % 5 - 2)
        warm = {"p1": (26.0, "Cel"), "p2": (78.8, "[degF]")}
        for probe, value in oxygen.items():
            kind, unit = (Quantity.OXYGEN, "mg/L") if probe == "p1" else (Quantity.OXYGEN_SATURATION, "%")
            one.take(
                RawReading(probe, Quantity.TEMPERATURE, one.now_ms, warm[probe][0] + wave, warm[probe][1]),
                RawReading(probe, kind, one.now_ms, value + (wave if probe == "p1" else 12 * wave), unit),
            )


def pass_night(one: ReachRoom) -> None:
    """Oxygen of t1 falls to 4.6 mg/L from 02:00 to 04:00; Ana takes it; p2 says nothing after 03:00."""
    speak(one, 390, {"p1": 7.5, "p2": 90.0})
    speak(one, 60, {"p1": 4.6, "p2": 90.0})
    number = next(alert.id for alert in one.service.read.alerts(None) if alert.kind == "low_oxygen")
    one.service.records.acknowledge(number, "Ana", "airstone cleaned", one.now_ms).result()
    speak(one, 60, {"p1": 4.6})
    one.service.watch.look()
    speak(one, 230, {"p1": 7.5})


def test_the_night_is_told_tank_by_tank(night: ReachRoom) -> None:
    """What left its target, for how long and how low; the silent probe; what Ana did; nothing twice."""
    pass_night(night)
    report = night.service.morning.reports.report(TUESDAY, night.now_ms)
    assert (report.over, datetime.fromtimestamp(report.start_ms / 1000, UTC).hour) == (False, 20)
    first, second = report.tanks
    assert (first.tank.id, first.band) == ("t1", Band.OUTSIDE)
    words = tank_line(first, UTC)
    assert words.startswith("t1: oxygen below target for 2 h, lowest 4.6 mg/L at 02:0")
    assert "alert low oxygen from 02:0" in words
    assert "Ana saw to it" in words
    assert second.tank.id == "t2"
    assert [(one.probe, one.tank_name, one.now) for one in report.distrusted] == [("p2", "t2", True)]
    assert "probe quiet" in report.distrusted[0].why[0]
    assert [(one.person, one.tank) for one in report.done] == [("Ana", "t1")]
    assert "airstone cleaned" in report.done[0].what
    assert summary(report).startswith("The night: 1 of 2 tanks left their target; ")
    assert "1 probe not to be trusted" in summary(report)


def test_it_is_sent_once_to_those_in_their_hours(night: ReachRoom) -> None:
    """Not at 07:59; at 08:00 to Ana and the board; not to Ben, Cleo or the siren; not again, also after a restart."""
    pass_night(night)
    night.now_ms = round(datetime(2026, 9, 22, 7, 59, tzinfo=UTC).timestamp() * 1000)
    night.service.morning.post.look()
    night.by.sent.clear()
    night.turn(0.5)
    assert not any(title.startswith("Morning") for _, title in night.told())
    night.turn(1)
    night.service.morning.post.look()
    night.turn(0.5)
    got = [(name, title) for name, title, _ in night.by.sent if title.startswith("Morning")]
    said = "Morning report of Test room, Tue 22 Sep"
    assert got == [("ana-phone", said), ("board", said)]
    text = next(body for name, title, body in night.by.sent if title == said)
    assert text.splitlines()[0].startswith("The night: 1 of 2 tanks")
    assert "http://localhost/morning?day=2026-09-22" in text
    night.by.sent.clear()
    night.restart()
    night.service.morning.post.look()
    night.turn(5)
    assert [one for one in night.told() if one[1].startswith("Morning")] == []


@pytest.mark.parametrize(("hours", "sent"), [(5, True), (7, False)])
def test_a_service_that_was_down_sends_it_late_or_not(night: ReachRoom, hours: int, sent: bool) -> None:
    """Up to six hours late."""
    night.now_ms = round(datetime(2026, 9, 22, 8 + hours, tzinfo=UTC).timestamp() * 1000)
    night.restart()
    night.service.morning.post.look()
    night.turn(0.5)
    assert any(title.startswith("Morning") for _, title in night.told()) is sent


def test_a_new_room_sends_none_for_the_night_before_it(tmp_path: Path) -> None:
    """Started at 09:00, its first report comes the next morning."""
    with reach_room(tmp_path, PEOPLE, LADDER, "2026-09-21T09:00") as one:
        one.service.morning.post.look()
        one.turn(1)
        assert one.told() == []


def test_a_calm_night_says_so_first(night: ReachRoom) -> None:
    """The first line is all that has to be read."""
    speak(night, 12 * 60 + 30, {"p1": 7.5, "p2": 90.0})
    report = night.service.morning.reports.report(TUESDAY, night.now_ms)
    assert report.over
    assert body(report, UTC).splitlines()[0] == "The night: no tank left its target; no alert."
    assert report.astray == ()


def test_a_night_nobody_measured_is_not_called_calm(night: ReachRoom) -> None:
    """Not known is said, never nothing."""
    night.turn(1, {"p1": 7.5, "p2": 90.0})
    night.now_ms += 13 * 3_600_000
    report = night.service.morning.reports.report(TUESDAY, night.now_ms)
    assert {one.band for one in report.tanks} == {Band.UNKNOWN}
    assert "2 of 2 tanks not known" in summary(report)
    assert "temperature of p1 not known" in body(report, UTC)


def test_when_it_comes_stands_in_the_room_file() -> None:
    """Hour and night as set; "never" sends none; a night that ends when it begins is refused with its line."""
    text = ROOM.replace("[[tank]]", '[room.morning]\nat = "07:15"\nnight_from = "21:00"\n[[tank]]', 1)
    assert parse_room(text).morning == MorningSettings(435, 1260, True)
    assert parse_room(text.replace("07:15", "never")).morning.sent is False
    with pytest.raises(RoomFileError, match=r"line 7.*ends when it begins"):
        parse_room(text.replace("21:00", "07:15"))
    with pytest.raises(RoomFileError, match="25:00"):
        parse_room(text.replace("07:15", "25:00"))
