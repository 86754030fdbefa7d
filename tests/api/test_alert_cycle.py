"""The life cycle of an alert, step by step (states of ISA-18.2 / IEC 62682)."""

from __future__ import annotations

import pytest

from api.domain.alert import AlertEvent, AlertKind, AlertState, Event, Priority, Subject
from api.judge.alert_cycle import Delays, Sample, Track, acknowledge, step

SUBJECT = Subject("t", AlertKind.LOW_OXYGEN, "p")
DELAYS = Delays(on_s=600, danger_on_s=120, off_s=300)
MINUTE_MS = 60_000


def run(track: Track, *samples: Sample) -> tuple[Track, list[AlertEvent]]:
    """Take samples one after the other."""
    events: list[AlertEvent] = []
    for sample in samples:
        track, happened = step(track, sample, DELAYS)
        events.extend(happened)
    return track, events


def low(minute: float, *, danger: bool = False, late: bool = False) -> Sample:
    """A sample below its limit."""
    level = Priority.URGENT if danger else Priority.TODAY
    return Sample(
        round(minute * MINUTE_MS), level, 2.5 if danger else 4.5, 3.0 if danger else 5.0, back=False, late=late
    )


def fine(minute: float, *, back: bool = True) -> Sample:
    """A sample inside; ``back`` False: inside, but not by the deadband."""
    return Sample(round(minute * MINUTE_MS), None, 6.0 if back else 5.1, back=back)


def raised() -> Track:
    """A track whose alert stands since minute 10."""
    track, events = run(Track(SUBJECT), *(low(minute) for minute in range(11)))
    assert [event.event for event in events] == [Event.RAISED]
    return track


def test_raised_exactly_after_the_on_delay() -> None:
    """Not a sample earlier."""
    track, events = run(Track(SUBJECT), *(low(minute) for minute in range(10)))
    assert (track.state, events) == (AlertState.NORMAL, [])
    track, events = run(track, low(10))
    assert [(event.event, event.priority, event.since_ms) for event in events] == [(Event.RAISED, Priority.TODAY, 0)]


def test_two_readings_far_apart_are_too_few() -> None:
    """Three readings at least, whatever the time between them."""
    assert run(Track(SUBJECT), low(0), low(30))[1] == []
    assert len(run(Track(SUBJECT), low(0), low(30), low(31))[1]) == 1


def test_one_reading_inside_starts_the_wait_anew() -> None:
    """A blip raises nothing."""
    assert run(Track(SUBJECT), *(low(m) for m in range(9)), fine(9), *(low(m) for m in range(10, 19)))[1] == []


def test_danger_comes_sooner_and_escalates() -> None:
    """Danger is urgent after its own delay; an acknowledged alert is unacknowledged again."""
    track, events = run(Track(SUBJECT), low(0, danger=True), low(1, danger=True), low(2, danger=True))
    assert [(event.event, event.priority) for event in events] == [(Event.RAISED, Priority.URGENT)]
    track, _ = acknowledge(raised(), 11 * MINUTE_MS)
    assert track.state is AlertState.ACKNOWLEDGED
    track, events = run(track, low(12, danger=True), low(13, danger=True), low(14, danger=True))
    assert [(event.event, event.priority) for event in events] == [(Event.ESCALATED, Priority.URGENT)]
    assert track.state is AlertState.UNACKNOWLEDGED


def test_over_only_by_the_deadband_and_after_the_off_delay() -> None:
    """Inside but not by the deadband is not over; an unacknowledged alert then waits for its acknowledgement."""
    track, events = run(raised(), *(fine(minute, back=False) for minute in range(11, 30)))
    assert (track.state, events) == (AlertState.UNACKNOWLEDGED, [])
    track, events = run(track, *(fine(minute) for minute in range(30, 36)))
    assert [event.event for event in events] == [Event.RETURNED]
    assert track.state is AlertState.RETURNED_UNACKNOWLEDGED
    track, events = run(track, *(low(minute) for minute in range(40, 51)))
    assert [event.event for event in events] == [Event.RAISED]
    track, _ = run(track, *(fine(minute) for minute in range(52, 58)))
    track, happened = acknowledge(track, 60 * MINUTE_MS)
    assert (track.state, [event.event for event in happened]) == (AlertState.NORMAL, [Event.ACKNOWLEDGED])


def test_acknowledged_and_over_is_closed() -> None:
    """No second acknowledgement is asked for."""
    track, _ = acknowledge(raised(), 11 * MINUTE_MS)
    track, events = run(track, *(fine(minute) for minute in range(12, 18)))
    assert ([event.event for event in events], track.state) == ([Event.CLEARED], AlertState.NORMAL)


def test_a_repeated_or_older_sample_changes_nothing() -> None:
    """Packs may come twice."""
    track = raised()
    assert run(track, low(10), low(5), fine(9)) == (track, [])


def test_old_news_wakes_nobody_unless_it_still_stands() -> None:
    """Found late is not told; when fresh readings still show it, it is raised then."""
    track, events = run(Track(SUBJECT), *(low(minute, late=True) for minute in range(11)))
    assert [(event.event, event.told) for event in events] == [(Event.FOUND_LATE, False)]
    _, events = run(track, low(12))
    assert [(event.event, event.told) for event in events] == [(Event.RAISED, True)]
    over, events = run(track, *(Sample(m * MINUTE_MS, None, 6.0, late=True) for m in range(12, 18)))
    assert [(event.event, event.told) for event in events] == [(Event.CLEARED, False)]
    assert over.state is AlertState.NORMAL


STATES = {"A": AlertState.NORMAL, "B": AlertState.UNACKNOWLEDGED, "C": AlertState.ACKNOWLEDGED,
          "D": AlertState.RETURNED_UNACKNOWLEDGED}  # fmt: skip
DIAGRAM = [
    ("A", "condition", "B"), ("A", "clears", "A"), ("A", "acknowledge", "A"),
    ("B", "condition", "B"), ("B", "clears", "D"), ("B", "acknowledge", "C"),
    ("C", "condition", "C"), ("C", "clears", "A"), ("C", "acknowledge", "C"),
    ("D", "condition", "B"), ("D", "clears", "D"), ("D", "acknowledge", "A"),
]  # fmt: skip


def in_state(letter: str) -> tuple[Track, int]:
    """A track in a state of the diagram, and the minute it is then."""
    if letter == "A":
        return Track(SUBJECT), 0
    if letter == "C":
        return acknowledge(raised(), 11 * MINUTE_MS)[0], 11
    if letter == "D":
        return run(raised(), *(fine(minute) for minute in range(11, 17)))[0], 17
    return raised(), 11


@pytest.mark.parametrize(("before", "happens", "after"), DIAGRAM)
def test_every_arrow_of_the_state_diagram(before: str, happens: str, after: str) -> None:
    """All states by all happenings, ISA-18.2 / IEC 62682 (from memory, beside OPC 10000-9 clause 4.8).

    From and to rest (G, H, I): ``test_resting.py``. Latched states (E, F) are not used: no alert here needs a reset.
    """
    track, minute = in_state(before)
    assert track.state is STATES[before]
    if happens == "acknowledge":
        track, _ = acknowledge(track, minute * MINUTE_MS)
    else:
        look = low if happens == "condition" else fine
        track, _ = run(track, *(look(minute + n) for n in range(1, 14)))
    assert track.state is STATES[after]
