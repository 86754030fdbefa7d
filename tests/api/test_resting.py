"""Alerts at rest on the real service: states and returns of ISA-18.2 / IEC 62682 (state diagram from memory)."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.domain.alert import AlertState, Priority
from api.domain.errors import InputError, NotFound
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.rest import Scope
from api.judge.resting import RULES, shelf_until_ms
from api.services.answers import AlertNow
from tests.support.rooms import TestRoom, room

MINUTE_MS = 60_000
LOW, FINE, DEADLY = 4.5, 7.5, 2.0


@pytest.fixture
def tanks(tmp_path: Path) -> Iterator[TestRoom]:
    """A room of two tanks."""
    with room(tmp_path) as made:
        yield made


def minutes(tanks: TestRoom, count: int, oxygen_mg_l: float) -> None:
    """Time passes, p1 says its values every minute; rests are looked at as the service does."""
    start_ms, pack = tanks.now_ms, []
    for minute in range(1, count + 1):
        at_ms = start_ms + minute * MINUTE_MS
        pack.append(RawReading("p1", Quantity.TEMPERATURE, at_ms, 26.0, "Cel"))
        pack.append(RawReading("p1", Quantity.OXYGEN, at_ms, oxygen_mg_l, "mg/L"))
    tanks.now_ms = start_ms + count * MINUTE_MS
    tanks.take(*pack)
    tanks.service.resting.look()


def alert(tanks: TestRoom) -> AlertNow:
    """The newest alert of low oxygen."""
    return next(one for one in tanks.service.read.alerts(None) if one.kind == "low_oxygen")


def told(tanks: TestRoom) -> list[str]:
    """Titles in the outbox for the room's address, oldest first."""
    return [row.title for row in tanks.service.store.state.undelivered(100)]


def standing(tanks: TestRoom) -> AlertNow:
    """Oxygen is low until it is an alert."""
    minutes(tanks, 14, LOW)
    return alert(tanks)


def process_state(tanks: TestRoom, start: AlertState) -> AlertNow:
    """An alert in one of the process states."""
    one = standing(tanks)
    if start is AlertState.ACKNOWLEDGED:
        tanks.service.records.acknowledge(one.id, "Ana", "", tanks.now_ms).result()
    if start is AlertState.RETURNED_UNACKNOWLEDGED:
        minutes(tanks, 14, FINE)
    assert alert(tanks).state is start
    return one


def put_to_rest(tanks: TestRoom, alert_id: int, rest: AlertState) -> int:
    """Shelve it, work on its tank, or take its probe out of service."""
    if rest is AlertState.SHELVED:
        return tanks.service.resting.shelve(alert_id, 20, "Ana", "heater ordered").result()
    if rest is AlertState.SUPPRESSED_BY_DESIGN:
        return tanks.service.resting.work("t1", "Ana").result()
    return tanks.service.resting.out_of_service(Scope.PROBE, "p1", "Ana", "membrane torn").result()


RESTS = (AlertState.SHELVED, AlertState.SUPPRESSED_BY_DESIGN, AlertState.OUT_OF_SERVICE)
STARTS = (AlertState.UNACKNOWLEDGED, AlertState.ACKNOWLEDGED, AlertState.RETURNED_UNACKNOWLEDGED)


@pytest.mark.parametrize("rest", RESTS)
@pytest.mark.parametrize("start", STARTS)
def test_any_state_goes_to_rest_and_back_to_the_state_its_water_is_in(
    tanks: TestRoom, start: AlertState, rest: AlertState
) -> None:
    """Every arrow of the diagram from B, C and D to G, H and I, and back with the water unchanged."""
    one = process_state(tanks, start)
    number = put_to_rest(tanks, one.id, rest)
    assert alert(tanks).state is rest
    water = FINE if start is AlertState.RETURNED_UNACKNOWLEDGED else LOW
    minutes(tanks, 2, water)
    assert alert(tanks).state is rest
    tanks.service.resting.end(number, "Ben").result()
    assert alert(tanks).state is start


@pytest.mark.parametrize("rest", RESTS)
def test_what_clears_at_rest_is_judged_all_the_same(tanks: TestRoom, rest: AlertState) -> None:
    """Unacknowledged, the water comes back: the rest ends as returned unacknowledged; acknowledged: as over."""
    one = standing(tanks)
    number = put_to_rest(tanks, one.id, rest)
    minutes(tanks, 14, FINE)
    assert alert(tanks).state is rest
    tanks.service.resting.end(number, "Ben").result()
    assert alert(tanks).state is AlertState.RETURNED_UNACKNOWLEDGED
    assert [step.event for step in tanks.service.read.alert(one.id).steps].count("returned") == 1


@pytest.mark.parametrize("rest", RESTS)
def test_an_acknowledged_alert_that_clears_at_rest_is_over(tanks: TestRoom, rest: AlertState) -> None:
    """From C by "clears" to A, also at rest."""
    put_to_rest(tanks, process_state(tanks, AlertState.ACKNOWLEDGED).id, rest)
    minutes(tanks, 14, FINE)
    assert alert(tanks).state is AlertState.NORMAL
    assert alert(tanks).ended_ms is not None


@pytest.mark.parametrize("rest", [AlertState.SUPPRESSED_BY_DESIGN, AlertState.OUT_OF_SERVICE])
def test_what_is_raised_at_rest_is_kept_but_not_told(tanks: TestRoom, rest: AlertState) -> None:
    """From A to H and I and a condition there: logged, shown in the rest's state, told to nobody until it is back."""
    minutes(tanks, 3, FINE)
    number = put_to_rest(tanks, 0, rest)
    minutes(tanks, 14, DEADLY)
    seen = alert(tanks)
    assert (seen.state, seen.priority, told(tanks)) == (rest, Priority.URGENT, [])
    assert tanks.service.store.reach.ladder(seen.id) is None
    outcome = tanks.service.resting.end(number, "Ben").result()
    assert "low oxygen" in outcome
    assert alert(tanks).state is AlertState.UNACKNOWLEDGED
    assert told(tanks) == ["URGENT t1: low oxygen"]
    assert tanks.service.store.reach.ladder(seen.id) is not None


def test_a_shelf_ends_by_itself_and_tells_what_stands(tanks: TestRoom) -> None:
    """Shelving is always timed."""
    one = standing(tanks)
    put_to_rest(tanks, one.id, AlertState.SHELVED)
    before = len(told(tanks))
    minutes(tanks, 19, LOW)
    assert (alert(tanks).state, len(told(tanks))) == (AlertState.SHELVED, before)
    minutes(tanks, 2, LOW)
    assert (alert(tanks).state, len(told(tanks))) == (AlertState.UNACKNOWLEDGED, before + 1)
    assert tanks.service.resting.rests() == []


def test_a_shelved_alert_that_becomes_more_urgent_breaks_its_shelf(tanks: TestRoom) -> None:
    """The rule that is stated to keepers."""
    assert any("more urgent than it was ends its shelf" in rule for rule in RULES)
    one = standing(tanks)
    if one.priority is Priority.URGENT:
        pytest.fail("the scenario begins with an alert for today")
    put_to_rest(tanks, one.id, AlertState.SHELVED)
    minutes(tanks, 5, DEADLY)
    assert (alert(tanks).state, alert(tanks).priority) == (AlertState.UNACKNOWLEDGED, Priority.URGENT)
    assert told(tanks)[-1] == "URGENT t1: low oxygen"
    assert tanks.service.resting.rests() == []


def test_work_ends_after_half_an_hour_and_says_whether_all_is_back(tanks: TestRoom) -> None:
    """Well: nothing is told and the outcome is kept. Not well: told at once, without the on-delay."""
    minutes(tanks, 3, FINE)
    tanks.service.resting.work("t1", "Ana").result()
    minutes(tanks, 10, DEADLY)
    minutes(tanks, 20, FINE)
    assert (tanks.service.resting.rests(), told(tanks)) == ([], [])
    assert tanks.service.resting.rests(running=False)[0].outcome == "all is back"
    tanks.service.resting.work("t1", "Ana").result()
    minutes(tanks, 29, FINE)
    minutes(tanks, 1, DEADLY)
    assert "oxygen is 2.0 mg/L" in tanks.service.resting.rests(running=False)[0].outcome
    assert told(tanks) == ["URGENT t1: low oxygen"]


def test_a_probe_left_out_of_the_water_after_work_is_told(tanks: TestRoom) -> None:
    """A probe that says nothing at the end of the work is not back."""
    minutes(tanks, 3, FINE)
    tanks.service.resting.work("t1", "Ana").result()
    tanks.now_ms += 31 * MINUTE_MS
    tanks.service.resting.look()
    assert "is not known" in tanks.service.resting.rests(running=False)[0].outcome
    assert any("water not known" in title for title in told(tanks))


def test_out_of_service_has_no_end_by_itself_and_outlives_a_restart(tanks: TestRoom) -> None:
    """A week later, and after a power cut, it still is listed."""
    tanks.service.resting.out_of_service(Scope.TANK, "t1", "Ana", "empty, being cleaned").result()
    tanks.now_ms += 7 * 1440 * MINUTE_MS
    tanks.service.resting.look()
    tanks.restart()
    tanks.service.resting.look()
    assert [(one.state, one.key, one.person) for one in tanks.service.resting.rests()] == [
        (AlertState.OUT_OF_SERVICE, "t1", "Ana")
    ]


def test_what_comes_again_and_again_is_held_and_told_when_it_stays(tanks: TestRoom) -> None:
    """Three activations in 30 minutes are told, the next is held; half an hour later it stands and is told."""
    one = standing(tanks)
    store = tanks.service.store

    def came_before() -> None:
        for _ in range(3):
            store.state.add_event(one.id, "raised", tanks.now_ms)

    store.write(came_before).result()
    tanks.service.records.acknowledge(one.id, "Ana", "", tanks.now_ms).result()
    minutes(tanks, 12, FINE)
    minutes(tanks, 12, LOW)
    again = alert(tanks)
    assert again.id != one.id
    before = len(told(tanks))
    assert [step.event for step in tanks.service.read.alert(again.id).steps][-1] == "held"
    minutes(tanks, 31, LOW)
    assert len(told(tanks)) == before + 1


@pytest.mark.parametrize("length", [0, -5, 61, float("nan"), float("inf")])
def test_an_urgent_alert_is_not_shelved_for_longer_than_an_hour(length: float) -> None:
    """Nor for no time, nor for what is no length."""
    with pytest.raises(InputError, match="can be shelved for"):
        shelf_until_ms(Priority.URGENT, length, 0)
    assert shelf_until_ms(Priority.URGENT, 60, 0) == 60 * MINUTE_MS


def test_rubbish_is_refused_with_words(tanks: TestRoom) -> None:
    """No name, no reason, nothing of that name, an alert that is over."""
    resting = tanks.service.resting
    one = standing(tanks)
    with pytest.raises(InputError, match="give a name"):
        resting.work("t1", " ")
    with pytest.raises(InputError, match="reason"):
        resting.shelve(one.id, 10, "Ana", "  ")
    with pytest.raises(NotFound, match="no tank"):
        resting.work("nowhere", "Ana")
    with pytest.raises(NotFound, match="no probe"):
        resting.out_of_service(Scope.PROBE, "p9", "Ana", "torn")
    with pytest.raises(NotFound, match="number 77"):
        resting.end(77, "Ana")
    assert resting.rests(running=False) == []
