"""Too fast a change is an alert of its own kind, within an hour and within a day."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.domain.alert import AlertKind, Priority
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.judge.change import HOUR_MS, largest, look
from api.services.answers import AlertNow
from tests.support.rooms import TestRoom, room

MINUTE_MS = 60_000


@pytest.fixture
def tanks(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks of the warm-water profile: 1 °C an hour and 3 °C a day are allowed."""
    with room(tmp_path) as made:
        yield made


def warm(tanks: TestRoom, minutes: int, start_c: float, end_c: float) -> list[AlertNow]:
    """Water of t1 goes from one temperature to another; the alerts of changes that stand then."""
    begin_ms = tanks.now_ms
    for place in range(0, minutes, 10):
        pack = []
        for n in range(place + 1, min(place + 10, minutes) + 1):
            now_c = start_c + (end_c - start_c) * n / minutes
            pack.append(RawReading("p1", Quantity.TEMPERATURE, begin_ms + n * MINUTE_MS, now_c, "Cel"))
        tanks.now_ms = pack[-1].time_ms
        tanks.take(*pack)
        tanks.service.foresight.changes.look()
    changes = (AlertKind.CHANGE_IN_HOUR, AlertKind.CHANGE_IN_DAY)
    return [one for one in tanks.service.read.alerts(None) if one.kind in changes and one.ended_ms is None]


def test_an_hour_as_a_keeper_reckons_it() -> None:
    """2.0 up within 40 minutes is the change; what was before the hour does not count."""
    points = [(0, 20.0), (HOUR_MS, 26.0), (HOUR_MS + 20 * MINUTE_MS, 25.5), (HOUR_MS + 60 * MINUTE_MS, 27.5)]
    found = largest(points, HOUR_MS + 60 * MINUTE_MS, HOUR_MS)
    assert found is not None
    assert (round(found.by, 6), found.time_ms - found.from_ms) == (2.0, 40 * MINUTE_MS)
    assert largest(points, 3 * HOUR_MS, HOUR_MS) is None, "an hour old: not how it is now"
    assert largest([], 0, HOUR_MS) is None


@pytest.mark.parametrize(("by", "level", "back"), [(0.7, None, True), (0.9, None, False), (1.1, Priority.TODAY, False)])
def test_over_only_with_a_margin(by: float, level: Priority | None, back: bool) -> None:
    """Falls count as rises do."""
    for sign in (1.0, -1.0):
        change = largest([(0, 25.0), (HOUR_MS, 25.0 + sign * by)], HOUR_MS, HOUR_MS)
        assert change is not None
        made = look(AlertKind.CHANGE_IN_HOUR, change, 1.0, Quantity.TEMPERATURE, HOUR_MS)
        assert (made.level, made.back) == (level, back)
        assert ("up" if sign > 0 else "down") in made.doubt or level is None


def test_water_that_warms_too_fast_is_told(tanks: TestRoom) -> None:
    """2 °C within an hour, all of it inside the target band: only the change is wrong."""
    assert warm(tanks, 60, 25.0, 25.3) == []
    stand = warm(tanks, 60, 25.3, 27.3)
    assert [(one.kind, one.priority) for one in stand] == [(AlertKind.CHANGE_IN_HOUR, Priority.TODAY)]
    assert "K in an hour allowed" in stand[0].text
    assert stand[0].to_do is not None


def test_a_slow_drift_is_told_by_the_day(tanks: TestRoom) -> None:
    """3.6 °C in 12 hours is 0.3 °C an hour: slow enough by the hour, too much by the day."""
    stand = warm(tanks, 720, 25.0, 28.6)
    assert [one.kind for one in stand] == [AlertKind.CHANGE_IN_DAY]
    assert "3 K in a day allowed" in stand[0].text


def test_a_probe_lifted_for_three_minutes_is_no_change(tanks: TestRoom) -> None:
    """The mean of five minutes jumps, but not for five minutes on."""
    assert warm(tanks, 30, 26.0, 26.0) == []
    assert warm(tanks, 3, 23.0, 23.0) == []
    assert warm(tanks, 20, 26.0, 26.0) == []
