"""From checked readings to alert events: each subject's track goes one step a reading, by limits and by forecast.

Must not do: check readings, keep them, or write words.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from api.domain.alert import PRIORITY_ORDER, AlertEvent, Priority, Subject
from api.domain.band import Side
from api.domain.cause import Cause, CauseName
from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading
from api.judge.alert_cycle import AT_ONCE, OVER, Delays, Sample, Track, end, step
from api.judge.assess import assess
from api.judge.heading import Heading
from api.judge.room_watch import EVERY_MS
from api.judge.samples import LEVELS, NOT_KNOWN_DELAYS, not_known, sample, usable
from api.judge.tank_watch import TankWatch
from api.services.memory import Layered
from api.services.outlooks import SPAN_MS, Outlooks
from api.services.plan import ChannelPlan
from api.storage.base import Store

Key = tuple[str, Quantity]
WHOLE = (CauseName.PROBE_STUCK, CauseName.PROBE_IN_AIR, CauseName.PROBES_SWAPPED)
"""What concerns all quantities of a probe at once."""
LYING_DELAYS = Delays(0.0, 0.0, 600.0, 1, 1)
"""What a forecast finds of a probe has lasted already; it is over when it has been well for ten minutes."""


class Judging:
    """The tracks of all subjects and the forecasts of all tanks, undone with the transaction they belong to."""

    def __init__(self, store: Store) -> None:
        self.tracks: Layered[Subject, Track] = Layered()
        self._busy: set[str | None] = set()
        self._store = store
        self.outlooks = Outlooks(self._history)
        self._lying: dict[str, tuple[Quantity, Cause]] = {}
        self._lied: set[Subject] = set()
        self.room_ms = 0
        """When the room was last looked at."""
        self.on_purpose: frozenset[str] = frozenset()
        """Tanks whose air a person has stopped for a test."""
        for track in store.state.tracks():
            self.tracks.settled[track.subject] = track

    def _history(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> Iterable[tuple[int, float]]:
        spans = self._store.readings.summaries(probe, quantity, start_ms, end_ms, SPAN_MS // 1000, SPAN_MS)
        return [(span.start_ms + SPAN_MS // 2, span.mean) for span in spans if span.mean is not None]

    def begin(self) -> None:
        """Start a piece of work in the writer."""
        self.tracks.begin()
        self.outlooks.begin()
        self._busy = {track.subject.probe for track in self.tracks.all() if not track.idle}

    def done(self) -> None:
        """The piece of work succeeded."""
        self.tracks.done()
        self.outlooks.done()

    def settle(self, kept: bool) -> None:
        """The transaction ended."""
        self.tracks.settle(kept)
        self.outlooks.settle(kept)
        for subject in [subject for subject, track in self.tracks.settled.items() if track.idle]:
            del self.tracks.settled[subject]

    def judge(self, reading: CheckedReading, channel: ChannelPlan, late: bool, events: list[AlertEvent]) -> None:
        """One reading of a tank's channel, later than the one before."""
        good, past = usable(reading), channel.not_known.past
        watch = self._follow(reading, channel, good, late, events) if not past else None
        self.weigh(reading, channel, good, watch, late, events)

    def weigh(
        self,
        reading: CheckedReading,
        channel: ChannelPlan,
        good: bool,
        watch: TankWatch | None,
        late: bool,
        events: list[AlertEvent],
    ) -> None:
        """A reading the forecast has heard of becomes a sample of each of its subjects."""
        past = channel.not_known.past
        if not good:
            if not past and self._told_by_another(reading):
                return
            self.take(channel.not_known, not_known(reading, late=late), NOT_KNOWN_DELAYS, events)
        else:
            self._believe(reading, channel, late, events)
        if not good or channel.care is None or channel.delays is None:
            return
        assessment = assess(reading.value, channel.care)
        beyond = assessment.band in LEVELS
        for subject, side in channel.kinds:
            heading = watch.heading(reading.probe, reading.quantity, side) if watch is not None else None
            if heading is not None and (heading.level is None or subject.tank in self.on_purpose):
                heading = None
            if beyond or heading is not None or self._standing(subject):
                one = sample(reading, side, assessment, channel.care, late=late)
                self._one(subject, one, heading, channel, side, events)

    def _told_by_another(self, reading: CheckedReading) -> bool:
        """Whether the probe is known to lie by another of its quantities: it is one probe, and told once."""
        lying = self._lying.get(reading.probe)
        return lying is not None and lying[0] is not reading.quantity

    def _follow(
        self, reading: CheckedReading, channel: ChannelPlan, good: bool, late: bool, events: list[AlertEvent]
    ) -> TankWatch | None:
        """Let the tank's forecast hear of a reading."""
        if channel.tank is None:
            return None
        tank = channel.tank.id
        watch = self.outlooks.tank(tank)
        if not good:
            if watch is not None and (own := watch.channels.get((reading.probe, reading.quantity))) is not None:
                own.odd(reading.time_ms)
            return watch
        fresh = self.outlooks.take(reading, channel)
        if fresh is None:
            return self.outlooks.tank(tank)
        self._look(fresh, tank, (reading.probe, reading.quantity), reading.time_ms, late, events)
        return fresh

    def _look(self, fresh: TankWatch, tank: str, key: Key, time_ms: int, late: bool, events: list[AlertEvent]) -> None:
        """A forecast has something new: is its probe to be believed, and what do the tanks do together?"""
        probe = key[0]
        found = self.outlooks.health(tank, fresh, probe, time_ms)
        if found is not None:
            self._lying[probe] = self._shown_by(found, key)
        elif probe in self._lying:
            del self._lying[probe]
        changed = self.outlooks.changed(tank, fresh, time_ms)
        if changed or time_ms - self.room_ms >= EVERY_MS:
            self.room_ms = time_ms
            self._room(time_ms, late, events)

    def calm(
        self, watch: TankWatch, key: Key, time_ms: int, value: float, channel: ChannelPlan, events: list[AlertEvent]
    ) -> bool:
        """A reading inside its limits that passed its checks, of a channel that was at rest.

        False when something came up, so that the reading has to be weighed after all.
        """
        if not watch.take(*key, time_ms, value, channel.care, channel.every_s):
            return True
        return self.looked(watch, key, time_ms, channel, events)

    def looked(self, watch: TankWatch, key: Key, time_ms: int, channel: ChannelPlan, events: list[AlertEvent]) -> bool:
        """``calm``, of a reading that closed a span and is remembered."""
        if channel.tank is not None:
            self._look(watch, channel.tank.id, key, time_ms, False, events)
        return key[0] not in self._lying and not watch.expects(key)

    def at_rest(self, watch: TankWatch | None, key: Key, channel: ChannelPlan) -> bool:
        """Whether good readings inside the limits can change nothing but the forecast."""
        lying = self._lying.get(key[0])
        if lying is not None and lying[0] is key[1]:
            return False
        if watch is not None and watch.expects(key):
            return False
        subjects = (channel.not_known, *(subject for subject, _ in channel.kinds))
        return all((track := self.tracks.get(subject)) is None or track.dormant for subject in subjects)

    def lies(self, probe: str) -> bool:
        """Whether a probe cannot be believed."""
        return probe in self._lying

    def _shown_by(self, found: tuple[Quantity, Cause], key: Key) -> tuple[Quantity, Cause]:
        """What lies as a whole is told with the reading at hand, not an interval later, and goes on with that."""
        before = self._lying.get(key[0])
        if before is not None and before[1].name is found[1].name:
            return before[0], found[1]
        whole = found[1].name in WHOLE and key[1] is not Quantity.OXYGEN_SATURATION
        return (key[1] if whole else found[0]), found[1]

    def _believe(self, reading: CheckedReading, channel: ChannelPlan, late: bool, events: list[AlertEvent]) -> None:
        """Whether a reading that passed its checks still comes from a probe that cannot be believed."""
        lying = self._lying.get(reading.probe) if not channel.not_known.past else None
        if lying is not None and lying[0] is reading.quantity:
            one = Sample(reading.time_ms, Priority.TODAY, reading.value, late=late, causes=(lying[1],))
            self._lied.add(channel.not_known)
            self.take(channel.not_known, one, LYING_DELAYS, events)
        elif self._standing(channel.not_known):
            delays = LYING_DELAYS if channel.not_known in self._lied else NOT_KNOWN_DELAYS
            self.take(channel.not_known, not_known(reading, late=late), delays, events)

    def _one(
        self,
        subject: Subject,
        one: Sample,
        heading: Heading | None,
        channel: ChannelPlan,
        side: Side | None,
        events: list[AlertEvent],
    ) -> None:
        """One kind's sample, by the fixed limits and by where the water is heading."""
        delays = channel.delays or AT_ONCE
        lying = self._lying.get(subject.probe or "")
        if heading is not None and heading.level is not None and not _blind(lying):
            if one.level is None or PRIORITY_ORDER[heading.level] <= PRIORITY_ORDER[one.level]:
                limit = heading.limit if one.limit is None else one.limit
                one = replace(one, level=heading.level, limit=limit, back=False)
                delays = replace(AT_ONCE, off_s=delays.off_s)
        before = len(events)
        self.take(subject, one, delays, events)
        for place in range(before, len(events)):
            if events[place].event not in OVER:
                events[place] = self._explained(events[place], channel, side)

    def _explained(self, event: AlertEvent, channel: ChannelPlan, side: Side | None) -> AlertEvent:
        """An event with what is expected and what may have happened."""
        subject = event.subject
        if subject.past or subject.probe is None or subject.quantity is None or subject.tank is None:
            return event
        outlook = self.outlooks.outlook(channel, subject.probe, subject.quantity)
        causes = self.outlooks.why(subject.tank, subject.probe, subject.quantity, side, event.time_ms)
        return replace(event, outlook=outlook, causes=causes)

    def _room(self, time_ms: int, late: bool, events: list[AlertEvent]) -> None:
        """What many tanks do at the same time is told once, for the room."""
        for kind, finding in self.outlooks.findings(time_ms).items():
            subject = Subject(None, kind)
            level = Priority.URGENT if finding is not None and finding.urgent else Priority.TODAY
            causes = (finding.cause,) if finding is not None else ()
            one = Sample(time_ms, level if finding is not None else None, late=late, causes=causes)
            self.take(subject, one, AT_ONCE, events)

    def _standing(self, subject: Subject) -> bool:
        track = self.tracks.get(subject) if subject.probe in self._busy else None
        return track is not None and not track.idle

    def end_past(self, channel: ChannelPlan, events: list[AlertEvent]) -> None:
        """No more readings of the past will come: what stands there ended with the last of them."""
        for subject in (channel.not_known, *(subject for subject, _ in channel.kinds)):
            track = self.tracks.get(subject)
            if track is not None and not track.idle:
                after, happened = end(track)
                self.tracks.put(subject, after)
                events.extend(happened)

    def track_of(self, subject_key: str) -> Track | None:
        """The track of an alert's subject, found by its key."""
        found = (track for track in self.tracks.all() if track.subject.key == subject_key)
        return next(found, None)

    def take(self, subject: Subject, one: Sample, delays: Delays, events: list[AlertEvent]) -> None:
        """One sample of one subject."""
        track = self.tracks.get(subject) or Track(subject)
        after, happened = step(track, one, delays)
        if after is not track:
            self.tracks.put(subject, after)
            self._busy.add(subject.probe)
        events.extend(happened)


def _blind(lying: tuple[Quantity, Cause] | None) -> bool:
    """Whether a probe shows no water at all; one that drifts or jumps still does, and may be right after all."""
    return lying is not None and lying[1].name in (CauseName.PROBE_IN_AIR, CauseName.PROBE_STUCK)
