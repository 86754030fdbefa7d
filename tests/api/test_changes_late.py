"""Too fast a change is found in readings that came late, and told in a rehearsal, on the readings' own time."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.domain.alert import AlertKind, Event
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.rehearsal.stepwise import Rehearsal
from api.rehearsal.whole import rehearsed
from api.services.answers import AlertNow
from tests.api.test_keep_past import import_all
from tests.support.columns import recordings
from tests.support.rooms import NOW_MS, TestRoom, room

MINUTE_MS = 60_000
HOUR, DAY = AlertKind.CHANGE_IN_HOUR, AlertKind.CHANGE_IN_DAY


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks of the warm-water profile: 1 °C an hour and 3 °C a day are allowed."""
    with room(tmp_path) as one:
        yield one


def warmed(begin_ms: int, by_hour: tuple[float, ...] = (0.0, 1.8, 0.0, 0.0)) -> list[RawReading]:
    """Temperatures of p1 every minute, each hour's change spread over it; all of it inside the target."""
    out, now_c = [], 25.0
    for hour, by in enumerate(by_hour):
        for minute in range(60):
            now_c += by / 60
            at_ms = begin_ms + (hour * 60 + minute) * MINUTE_MS
            out.append(RawReading("p1", Quantity.TEMPERATURE, at_ms, now_c + 0.01 * (minute % 2), "Cel"))
    return out


def send(lab: TestRoom, readings: list[RawReading]) -> None:
    """In packs, then time for what waits."""
    for place in range(0, len(readings), 60):
        lab.take(*readings[place : place + 60])
    lab.now_ms += 10_000
    lab.service.again.look()


def changes(lab: TestRoom) -> list[AlertNow]:
    """Alerts of changes, the oldest first."""
    return [one for one in reversed(lab.service.read.alerts(None)) if one.kind in (HOUR, DAY)]


def test_a_jump_in_late_readings_is_found_late(lab: TestRoom) -> None:
    """A logger's file of yesterday beside live readings: found late, once, over with the file; nobody is rung."""
    lab.take(RawReading("p1", Quantity.TEMPERATURE, lab.now_ms, 26.0, "Cel"))
    begin_ms = NOW_MS - 20 * 60 * MINUTE_MS
    late = warmed(begin_ms)
    send(lab, late)
    (found,) = changes(lab)
    assert (found.kind, found.found_late) == (HOUR, True)
    assert "1 K in an hour allowed" in found.text
    assert found.ended_ms is not None
    assert begin_ms + 60 * MINUTE_MS < found.raised_ms < begin_ms + 120 * MINUTE_MS
    send(lab, late)
    assert len(changes(lab)) == 1, "the same file again changes nothing"


@pytest.mark.parametrize("size", [7, 45, 10_000])
def test_an_import_finds_it_in_blocks_of_any_size(lab: TestRoom, size: int) -> None:
    """The same alert as in readings that came late, once, also when the file is imported again."""
    readings = warmed(NOW_MS - 20 * 60 * MINUTE_MS)
    for _ in range(2):
        import_all(lab, readings, size)
        (found,) = changes(lab)
        assert (found.kind, found.found_late) == (HOUR, True)
        assert found.ended_ms is not None
        # 0.03 K a minute from minute 60 on is 1 K at 93; two spans of five minutes, and the median's span, later
        assert 100 < (found.raised_ms - NOW_MS) / MINUTE_MS + 1200 < 108
        assert found.raised_ms == 1_789_934_250_000, "however it is cut"


def test_a_slow_drift_of_a_day_is_found_across_what_is_known_already(lab: TestRoom) -> None:
    """The file holds the evening, live readings held the morning: the day's change is seen from both."""
    begin_ms = NOW_MS - 30 * 60 * MINUTE_MS
    all_of_it = warmed(begin_ms, (*[0.0] * 2, *[0.45] * 10, *[0.0] * 4))
    lab.now_ms = begin_ms + 120 * MINUTE_MS
    for reading in all_of_it[:120:10]:
        lab.take(reading)
    lab.now_ms = NOW_MS
    lab.take(RawReading("p1", Quantity.TEMPERATURE, lab.now_ms, 29.0, "Cel"))
    send(lab, all_of_it[120:])
    assert [one.kind for one in changes(lab)] == [DAY]


def test_what_was_told_when_it_was_news_is_not_found_late(lab: TestRoom) -> None:
    """The probe's own memory is read out afterwards: the same water, and an alert that stood."""
    begin_ms = lab.now_ms
    readings = warmed(begin_ms, (0.0, 1.8, 0.0))
    for place in range(0, len(readings), 10):
        pack = readings[place : place + 10]
        lab.now_ms = pack[-1].time_ms
        lab.take(*pack)
        lab.service.foresight.changes.look()
    assert [one.kind for one in changes(lab)] == [HOUR]
    between = [RawReading(r.probe, r.quantity, r.time_ms + 30_000, r.value, r.unit) for r in readings[:-1]]
    send(lab, between)
    assert [one.found_late for one in changes(lab)] == [False]


def test_a_rehearsal_tells_it_step_by_step(lab: TestRoom) -> None:
    """Raised within the hour of the change and over after it, by both ways of rehearsing."""
    readings = warmed(NOW_MS, (0.0, 1.8, 0.0, 0.0, 0.0))
    one = Rehearsal(lab.service.plan(), NOW_MS - 1)
    told = [told for reading in readings for told in one.take([reading], reading.time_ms)]
    told += one.advance(readings[-1].time_ms)
    one.close()
    mine = [(t.event, t.kind, t.time_ms) for t in told if t.kind is HOUR]
    assert [event for event, _, _ in mine] == [Event.RAISED, Event.CLEARED]
    assert 60 * MINUTE_MS < mine[0][2] - NOW_MS < 120 * MINUTE_MS
    at_once = rehearsed(lab.service.plan(), recordings(readings), readings[-1].time_ms)
    assert [(t.event, t.kind, t.time_ms) for t in at_once if t.kind is HOUR] == mine
