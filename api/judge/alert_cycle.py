"""The life cycle of one alert (ISA-18.2 / IEC 62682) as a pure step: a track and a sample in, a track and events out.

Must not do: read a clock (samples carry their own time), write words, or deliver.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from api.domain.alert import PRIORITY_ORDER, AlertEvent, AlertState, Event, Priority, Subject
from api.domain.band import Side
from api.domain.cause import Cause
from api.domain.outlook import Outlook

OVER = frozenset({Event.RETURNED, Event.CLEARED})
STANDING = frozenset({AlertState.UNACKNOWLEDGED, AlertState.ACKNOWLEDGED})
RESTING_STATES = frozenset({AlertState.NORMAL, AlertState.RETURNED_UNACKNOWLEDGED})


@dataclass(frozen=True, slots=True)
class Delays:
    """How long a condition must hold, in seconds, and in how many readings at least, before an alert is raised.

    Starting values from EEMUA 191 / ISA-18.2 practice (from memory); "three readings" is the facts' advice, two when
    animals are in danger: judgement.
    """

    on_s: float
    danger_on_s: float
    off_s: float
    readings: int = 3
    danger_readings: int = 2


AT_ONCE = Delays(0.0, 0.0, 0.0, 1, 1)


@dataclass(frozen=True, slots=True)
class Sample:
    """One look at the subject: how bad (None: inside), the value and limit, and whether it is back by the deadband.

    ``late`` means the sample is old news: nobody may be woken by it. ``since_ms``: the condition began then already.
    ``doubt``: why the reading is suspect; ``outlook`` and ``causes``: what is expected and why. Told with the alert.
    ``side``: the side of the target that is looked at; None where the subject has no sides.
    """

    time_ms: int
    level: Priority | None
    value: float | None = None
    limit: float | None = None
    back: bool = True
    late: bool = False
    since_ms: int | None = None
    doubt: str = ""
    outlook: Outlook | None = None
    causes: tuple[Cause, ...] = ()
    side: Side | None = None


@dataclass(frozen=True, slots=True)
class Track:
    """What is remembered of a subject between samples. Times in ms; None where a wait is not running."""

    subject: Subject
    state: AlertState = AlertState.NORMAL
    level: Priority | None = None
    beyond_since_ms: int | None = None
    beyond_readings: int = 0
    danger_since_ms: int | None = None
    danger_readings: int = 0
    back_since_ms: int | None = None
    raised_ms: int | None = None
    told: bool = False
    worst: float | None = None
    last_ms: int = -1

    @property
    def idle(self) -> bool:
        """Nothing is standing and no wait is running."""
        return self.state is AlertState.NORMAL and self.beyond_since_ms is None

    @property
    def dormant(self) -> bool:
        """Nothing stands that could end, and no wait is running: a sample from inside the limits changes nothing."""
        return self.state in RESTING_STATES and self.beyond_since_ms is None and self.danger_since_ms is None


def step(track: Track, sample: Sample, delays: Delays) -> tuple[Track, tuple[AlertEvent, ...]]:
    """Take one sample. Samples not newer than the last one change nothing, so a repeat is harmless."""
    if sample.time_ms <= track.last_ms or (sample.level is None and track.idle):
        return track, ()
    track = _wait(track, sample)
    due = _due(track, sample, delays)
    if track.state in STANDING:
        return _standing(track, sample, due, delays)
    if due is None:
        return track, ()
    event = Event.FOUND_LATE if sample.late else Event.RAISED
    track = replace(
        track,
        state=AlertState.UNACKNOWLEDGED,
        level=due,
        raised_ms=sample.time_ms,
        told=not sample.late,
        worst=sample.value,
        back_since_ms=None,
    )
    return track, (_event(track, event, sample),)


def acknowledge(track: Track, time_ms: int) -> tuple[Track, tuple[AlertEvent, ...]]:
    """A person has taken the alert; an alert that has returned is thereby closed."""
    if track.state is AlertState.UNACKNOWLEDGED:
        done = replace(track, state=AlertState.ACKNOWLEDGED)
    elif track.state is AlertState.RETURNED_UNACKNOWLEDGED:
        done = Track(track.subject, last_ms=track.last_ms)
    else:
        return track, ()
    event = AlertEvent(
        track.subject,
        Event.ACKNOWLEDGED,
        time_ms,
        track.level or Priority.NOTE,
        track.worst,
        None,
        track.raised_ms or time_ms,
    )
    return done, (event,)


def end(track: Track) -> tuple[Track, tuple[AlertEvent, ...]]:
    """No sample will follow: a standing alert ends with its last one, a wait is given up."""
    over = Track(track.subject, last_ms=track.last_ms)
    if track.state is AlertState.NORMAL:
        return over, ()
    return over, (_event(track, Event.CLEARED, Sample(track.last_ms, None)),)


def _wait(track: Track, sample: Sample) -> Track:
    """Start, go on with, or stop the waits for tolerable and danger limits."""
    beyond = sample.level is not None
    began_ms = sample.time_ms if sample.since_ms is None else sample.since_ms
    danger = sample.level is Priority.URGENT
    return replace(
        track,
        last_ms=sample.time_ms,
        beyond_since_ms=(began_ms if track.beyond_since_ms is None else track.beyond_since_ms) if beyond else None,
        beyond_readings=track.beyond_readings + 1 if beyond else 0,
        danger_since_ms=(began_ms if track.danger_since_ms is None else track.danger_since_ms) if danger else None,
        danger_readings=track.danger_readings + 1 if danger else 0,
    )


def _due(track: Track, sample: Sample, delays: Delays) -> Priority | None:
    if track.danger_since_ms is not None and track.danger_readings >= delays.danger_readings:
        if sample.time_ms - track.danger_since_ms >= delays.danger_on_s * 1000:
            return Priority.URGENT
    if track.beyond_since_ms is not None and track.beyond_readings >= delays.readings:
        if sample.time_ms - track.beyond_since_ms >= delays.on_s * 1000:
            return Priority.TODAY if sample.level is Priority.URGENT else sample.level
    return None


def _standing(
    track: Track, sample: Sample, due: Priority | None, delays: Delays
) -> tuple[Track, tuple[AlertEvent, ...]]:
    if sample.level is not None or sample.side is not None:
        track = replace(track, worst=_worse(track, sample))
    if sample.level is not None:
        track = replace(track, back_since_ms=None)
        worse = due is not None and track.level is not None and PRIORITY_ORDER[due] < PRIORITY_ORDER[track.level]
        # Old news cannot be told, so it must not use up the telling: the next fresh sample finds it worse again.
        worse = worse and not (sample.late and track.told)
        if worse:
            track = replace(track, level=due, state=AlertState.UNACKNOWLEDGED)
        if not sample.late and not track.told:
            track = replace(track, told=True)
            return track, (_event(track, Event.RAISED, sample),)
        return track, (_event(track, Event.ESCALATED, sample),) if worse and track.told else ()
    if not sample.back:
        return replace(track, back_since_ms=None), ()
    since_ms = sample.time_ms if track.back_since_ms is None else track.back_since_ms
    track = replace(track, back_since_ms=since_ms)
    if sample.time_ms - since_ms < delays.off_s * 1000:
        return track, ()
    if track.state is AlertState.UNACKNOWLEDGED and track.told:
        event = _event(track, Event.RETURNED, sample)
        return replace(track, state=AlertState.RETURNED_UNACKNOWLEDGED, back_since_ms=None), (event,)
    return Track(track.subject, last_ms=track.last_ms), (_event(track, Event.CLEARED, sample),)


def _worse(track: Track, sample: Sample) -> float | None:
    """The value furthest out so far; what is only expected to cross its limit stands on the limit's good side."""
    if track.worst is None or sample.value is None:
        return track.worst if sample.value is None else sample.value
    low = sample.side is Side.LOW
    if sample.side is None:
        if sample.limit is None:
            return sample.value
        low = sample.value < sample.limit
    return min(track.worst, sample.value) if low else max(track.worst, sample.value)


def _event(track: Track, event: Event, sample: Sample) -> AlertEvent:
    first = (track.raised_ms, track.beyond_since_ms) if event in OVER else (track.beyond_since_ms, track.raised_ms)
    since_ms = next((one for one in first if one is not None), sample.time_ms)
    level = track.level or Priority.NOTE
    return AlertEvent(
        track.subject,
        event,
        sample.time_ms,
        level,
        sample.value,
        sample.limit,
        since_ms,
        track.told,
        track.worst,
        sample.doubt,
        sample.outlook,
        sample.causes,
    )
