"""Rules of the alert life cycle that hold for any samples, and every state beside every thing that can happen."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.domain.alert import AlertEvent, AlertKind, AlertState, Event, Priority, Subject
from api.judge.alert_cycle import AT_ONCE, Delays, Sample, Track, acknowledge, step

SUBJECT = Subject("t", AlertKind.LOW_OXYGEN, "p")
DELAYS = Delays(on_s=600, danger_on_s=120, off_s=300)
S = AlertState
STEADY = Track(SUBJECT, last_ms=0)
STANDING = replace(
    STEADY, state=S.UNACKNOWLEDGED, level=Priority.TODAY, beyond_since_ms=0, beyond_readings=9, raised_ms=0, told=True
)
IN_STATE = {
    S.NORMAL: STEADY,
    S.UNACKNOWLEDGED: STANDING,
    S.ACKNOWLEDGED: replace(STANDING, state=S.ACKNOWLEDGED),
    S.RETURNED_UNACKNOWLEDGED: replace(STANDING, state=S.RETURNED_UNACKNOWLEDGED, beyond_since_ms=None),
}


def run(track: Track, samples: list[Sample], delays: Delays = DELAYS) -> tuple[Track, list[AlertEvent]]:
    """Take samples one after the other."""
    events: list[AlertEvent] = []
    for sample in samples:
        track, happened = step(track, sample, delays)
        events.extend(happened)
    return track, events


@pytest.mark.parametrize(
    ("state", "after", "event"),
    [
        (S.NORMAL, S.NORMAL, []),
        (S.UNACKNOWLEDGED, S.ACKNOWLEDGED, [Event.ACKNOWLEDGED]),
        (S.ACKNOWLEDGED, S.ACKNOWLEDGED, []),
        (S.RETURNED_UNACKNOWLEDGED, S.NORMAL, [Event.ACKNOWLEDGED]),
    ],
)
def test_acknowledging_in_each_state(state: S, after: S, event: list[Event]) -> None:
    """ISA-18.2: only what is unacknowledged can be acknowledged."""
    track, happened = acknowledge(IN_STATE[state], 5)
    assert (track.state, [one.event for one in happened]) == (after, event)


BACK = [Sample(t * 60_000, None, 7.0, back=True) for t in range(1, 8)]
LOW = [Sample(t * 60_000, Priority.TODAY, 4.5, 5.0, back=False) for t in range(1, 14)]


@pytest.mark.parametrize(
    ("state", "samples", "after", "event"),
    [
        (S.NORMAL, BACK, S.NORMAL, []),
        (S.NORMAL, LOW, S.UNACKNOWLEDGED, [Event.RAISED]),
        (S.UNACKNOWLEDGED, LOW, S.UNACKNOWLEDGED, []),
        (S.UNACKNOWLEDGED, BACK, S.RETURNED_UNACKNOWLEDGED, [Event.RETURNED]),
        (S.ACKNOWLEDGED, LOW, S.ACKNOWLEDGED, []),
        (S.ACKNOWLEDGED, BACK, S.NORMAL, [Event.CLEARED]),
        (S.RETURNED_UNACKNOWLEDGED, BACK, S.RETURNED_UNACKNOWLEDGED, []),
        (S.RETURNED_UNACKNOWLEDGED, LOW, S.UNACKNOWLEDGED, [Event.RAISED]),
    ],
)
def test_water_in_each_state(state: S, samples: list[Sample], after: S, event: list[Event]) -> None:
    """Ten minutes low raises, five minutes back ends; each is said once."""
    track, happened = run(IN_STATE[state], samples)
    assert (track.state, [one.event for one in happened]) == (after, event)


def test_danger_in_a_backlog_is_told_once_it_is_seen_fresh() -> None:
    """Old news tells nobody, and must not use up the telling: the standing "today" becomes urgent now."""
    acked = IN_STATE[S.ACKNOWLEDGED]
    late = [Sample(t * 60_000, Priority.URGENT, 2.0, 3.0, back=False, late=True) for t in range(1, 10)]
    track, events = run(acked, late)
    assert events == []
    track, events = run(track, [Sample(600_000, Priority.URGENT, 2.0, 3.0, back=False)])
    assert [(one.event, one.priority) for one in events] == [(Event.ESCALATED, Priority.URGENT)]
    assert track.state is S.UNACKNOWLEDGED


def test_found_late_in_danger_is_raised_as_urgent() -> None:
    """It stands when fresh readings come: told then, at the level it reached."""
    late = [Sample(t * 60_000, Priority.TODAY, 4.0, 5.0, back=False, late=True) for t in range(12)]
    worse = [Sample(t * 60_000, Priority.URGENT, 2.0, 3.0, back=False, late=True) for t in range(12, 16)]
    fresh = [Sample(16 * 60_000, Priority.URGENT, 2.0, 3.0, back=False)]
    _, events = run(STEADY, [*late[1:], *worse, *fresh])
    assert [(one.event, one.priority, one.told) for one in events] == [
        (Event.FOUND_LATE, Priority.TODAY, False),
        (Event.RAISED, Priority.URGENT, True),
    ]


def test_the_worst_value_is_remembered_to_the_end() -> None:
    """Also by the event that ends it."""
    values = [4.5, 3.2, 4.4]
    low = [Sample((n + 1) * 60_000, Priority.TODAY, v, 5.0, back=False) for n, v in enumerate(values)]
    _, events = run(
        replace(IN_STATE[S.ACKNOWLEDGED], worst=4.5), [*low, *(replace(b, time_ms=b.time_ms + 300_000) for b in BACK)]
    )
    assert [(one.event, one.worst) for one in events] == [(Event.CLEARED, 3.2)]


def test_at_once_means_at_the_first_look() -> None:
    """Silence has had its delay already; it began when the probe last spoke."""
    _, events = run(Track(SUBJECT), [Sample(900_000, Priority.TODAY, since_ms=1000)], AT_ONCE)
    assert [(one.event, one.since_ms) for one in events] == [(Event.RAISED, 1000)]


samples = st.lists(
    st.builds(
        lambda gap, level, back, late: (gap, level, back, late),
        st.integers(1, 400),
        st.sampled_from([None, None, Priority.TODAY, Priority.URGENT]),
        st.booleans(),
        st.booleans(),
    ),
    max_size=60,
)


def build(parts: list[tuple[int, Priority | None, bool, bool]]) -> list[Sample]:
    """Samples in time order, some seconds apart."""
    out, time_ms = [], 0
    for gap_s, level, back, late in parts:
        time_ms += gap_s * 1000
        value, limit = (None, None) if level is None else (2.0 if level is Priority.URGENT else 4.0, 5.0)
        out.append(Sample(time_ms, level, value, limit, back=back and level is None, late=late))
    return out


def beyond_for_s(history: list[Sample], level: Priority | None) -> tuple[float, int]:
    """How long, and in how many samples, the last ones were all beyond (of danger, where that is asked)."""
    run_of: list[Sample] = []
    for sample in reversed(history):
        if sample.level is None or (level is Priority.URGENT and sample.level is not Priority.URGENT):
            break
        run_of.append(sample)
    return ((run_of[0].time_ms - run_of[-1].time_ms) / 1000, len(run_of)) if run_of else (0.0, 0)


@settings(deadline=None, max_examples=300)
@given(samples)
def test_nothing_is_raised_before_its_delay(parts: list[tuple[int, Priority | None, bool, bool]]) -> None:
    """Checked against the plain history, not against the machine's own counters."""
    track, history = Track(SUBJECT), build(parts)
    for place, sample in enumerate(history):
        before = track.state
        track, events = step(track, sample, DELAYS)
        if before in (S.NORMAL, S.RETURNED_UNACKNOWLEDGED) and track.state is S.UNACKNOWLEDGED:
            length_s, count = beyond_for_s(history[: place + 1], None)
            danger_s, danger_count = beyond_for_s(history[: place + 1], Priority.URGENT)
            assert (length_s >= 600 and count >= 3) or (danger_s >= 120 and danger_count >= 2)
            assert [one.event for one in events] == [Event.FOUND_LATE if sample.late else Event.RAISED]
        if before is S.NORMAL and track.state is S.NORMAL:
            length_s, count = beyond_for_s(history[: place + 1], None)
            assert length_s < 600 or count < 3, "it should have been raised"


@settings(deadline=None, max_examples=300)
@given(samples)
def test_what_is_told_is_told_in_order(parts: list[tuple[int, Priority | None, bool, bool]]) -> None:
    """Raised before over; nobody is told by old news; repeating every sample changes nothing."""
    once, events = run(Track(SUBJECT), build(parts))
    twice, again = run(Track(SUBJECT), [sample for sample in build(parts) for _ in (1, 2)])
    assert (once, events) == (twice, again)
    late_at = {sample.time_ms for sample in build(parts) if sample.late}
    open_to_people = False
    for one in events:
        if one.event in (Event.RAISED, Event.ESCALATED):
            assert one.time_ms not in late_at
            open_to_people = True
        if one.event in (Event.RETURNED, Event.CLEARED):
            assert one.told is open_to_people
            open_to_people = False
