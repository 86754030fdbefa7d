"""From checked readings to alert events: each subject's track goes one step a reading.

Must not do: check readings, keep them, or write words.
"""

from __future__ import annotations

from api.domain.alert import AlertEvent, Subject
from api.domain.reading import CheckedReading
from api.judge.alert_cycle import Delays, Sample, Track, end, step
from api.judge.assess import assess
from api.judge.samples import LEVELS, NOT_KNOWN_DELAYS, not_known, sample, usable
from api.services.memory import Layered
from api.services.plan import ChannelPlan
from api.storage.base import Store


class Judging:
    """The tracks of all subjects, undone with the transaction they belong to."""

    def __init__(self, store: Store) -> None:
        self.tracks: Layered[Subject, Track] = Layered()
        self._busy: set[str | None] = set()
        for track in store.state.tracks():
            self.tracks.settled[track.subject] = track

    def begin(self) -> None:
        """Start a piece of work in the writer."""
        self.tracks.begin()
        self._busy = {track.subject.probe for track in self.tracks.all() if not track.idle}

    def settle(self, kept: bool) -> None:
        """The transaction ended."""
        self.tracks.settle(kept)
        for subject in [subject for subject, track in self.tracks.settled.items() if track.idle]:
            del self.tracks.settled[subject]

    def judge(self, reading: CheckedReading, channel: ChannelPlan, late: bool, events: list[AlertEvent]) -> None:
        """One reading of a tank's channel, later than the one before."""
        good = usable(reading)
        if not good or self._standing(channel.not_known):
            self.take(channel.not_known, not_known(reading, late=late), NOT_KNOWN_DELAYS, events)
        if not good or channel.care is None or channel.delays is None:
            return
        assessment = assess(reading.value, channel.care)
        beyond = assessment.band in LEVELS
        for subject, side in channel.kinds:
            if beyond or self._standing(subject):
                self.take(subject, sample(reading, side, assessment, channel.care, late=late), channel.delays, events)

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
