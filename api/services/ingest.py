"""THE LINE inside the service: raw readings in; converted, checked, judged and kept, or refused one by one.

Everything of a pack (readings, alert states, outbox) is one transaction. Must not do: drop a reading in silence.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass

from api.domain.alert import AlertEvent, Subject
from api.domain.errors import UnknownUnit
from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag, RawReading
from api.domain.senml import Refused
from api.judge.alert_cycle import Delays, Sample, Track, step
from api.judge.assess import assess
from api.judge.quality import gross_range
from api.judge.samples import LEVELS, NOT_KNOWN_DELAYS, not_known, sample, usable
from api.science.units import converter
from api.services.derive import OTHER, Partner, derive, nearest
from api.services.memory import Layered
from api.services.plan import ChannelPlan, RoomPlan
from api.services.warn import Warn
from api.storage.base import Store

EARLIEST_MS = 946_684_800_000
"""2000-01-01: a clock that says less was never set."""
AHEAD_MS = 600_000
"""How far a collector's clock may run ahead of the service's. [ms]"""

LARGEST = 1e9
"""Beyond any value of any quantity in its canonical unit; sums and squares of less stay finite numbers."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a pack; ``refused`` in the order of the pack."""

    accepted: int
    duplicate: int
    refused: tuple[Refused, ...]


class Ingest:
    """Takes packs, one after the other, in the store's writer."""

    def __init__(self, store: Store, plan: Callable[[], RoomPlan], warn: Warn) -> None:
        self._store, self._plan, self._warn = store, plan, warn
        self.newest: Layered[tuple[str, Quantity], int] = Layered()
        self.tracks: Layered[Subject, Track] = Layered()
        self._partners: Layered[str, Partner] = Layered()
        self._busy: set[str | None] = set()
        for channel in store.readings.channels():
            self.newest.settled[channel.probe, channel.quantity] = channel.last_ms
            tank = plan().channel(channel.probe, channel.quantity).tank
            warm = channel.quantity is Quantity.TEMPERATURE and channel.flag <= Flag.SUSPECT
            if tank is not None and warm and channel.value is not None:
                self._partners.settled[tank.id] = Partner(channel.last_ms, channel.value, channel.flag)
        for track in store.state.tracks():
            self.tracks.settled[track.subject] = track

    def accept(self, items: Sequence[RawReading | Refused | None], now_ms: int) -> Future[Outcome]:
        """Keep and judge a pack; the future ends after everything of it is committed."""
        return self._store.write(lambda: self._work(items, now_ms), self.settle)

    def settle(self, kept: bool) -> None:
        """The transaction ended."""
        self.newest.settle(kept)
        self.tracks.settle(kept)
        for subject in [subject for subject, track in self.tracks.settled.items() if track.idle]:
            del self.tracks.settled[subject]
        self._partners.settle(kept)

    def begin(self) -> None:
        """Start a piece of work in the writer."""
        self.newest.begin()
        self.tracks.begin()
        self._partners.begin()
        self._busy = {track.subject.probe for track in self.tracks.all() if not track.idle}

    def finish(self, events: list[AlertEvent], now_ms: int) -> None:
        """Keep the tracks that changed and tell what happened; the last step of a piece of work in the writer."""
        self._store.state.save_tracks(self.tracks.changed().values())
        if events:
            self._warn.take(events, self.tracks, now_ms)
        self.newest.done()
        self.tracks.done()
        self._partners.done()

    def _work(self, items: Sequence[RawReading | Refused | None], now_ms: int) -> Outcome:
        self.begin()
        plan = self._plan()
        refused: list[Refused] = []
        raws: list[RawReading] = []
        for index, item in enumerate(items):
            if isinstance(item, Refused):
                refused.append(item)
            elif item is not None:
                reason = _refuse_time(item.time_ms, now_ms)
                if reason:
                    refused.append(Refused(index, reason))
                else:
                    raws.append(item)
        raws.sort(key=lambda raw: (raw.time_ms, raw.quantity is not Quantity.TEMPERATURE))
        checked = [convert(raw) for raw in raws]
        whole = self._with_derived(checked, plan)
        new = self._store.readings.append(whole)
        accepted = sum(is_new for is_new, reading in zip(new, whole, strict=True) if not reading.derived)
        self.finish(self._judge(whole, plan, now_ms), now_ms)
        if refused:
            self._store.state.count_up({"refused": len(refused)})
        return Outcome(accepted, len(raws) - accepted, tuple(refused))

    def _with_derived(self, checked: list[CheckedReading], plan: RoomPlan) -> list[CheckedReading]:
        """Each oxygen reading followed by the same oxygen in the other quantity, where it can be derived."""
        out: list[CheckedReading] = []
        passed: dict[str, Partner] = {}
        for reading in checked:
            out.append(reading)
            if reading.quantity is Quantity.TEMPERATURE:
                tank = plan.channel(reading.probe, reading.quantity).tank
                if tank is not None and usable(reading):
                    passed[tank.id] = self._remember(tank.id, reading)
            elif reading.quantity in (Quantity.OXYGEN, Quantity.OXYGEN_SATURATION):
                tank = plan.channel(reading.probe, reading.quantity).tank
                if tank is not None and not plan.measures(reading.probe, OTHER[reading.quantity]):
                    partner = nearest(reading.time_ms, self._partners.get(tank.id), passed.get(tank.id))
                    out.append(derive(reading, partner, plan.pressure_kpa, plan.room.salinity_psu))
        return out

    def _remember(self, tank: str, reading: CheckedReading) -> Partner:
        known = self._partners.get(tank)
        partner = Partner(reading.time_ms, reading.value or 0.0, reading.flag)
        if known is None or reading.time_ms >= known.time_ms:
            self._partners.put(tank, partner)
        return partner

    def _judge(self, readings: list[CheckedReading], plan: RoomPlan, now_ms: int) -> list[AlertEvent]:
        """Readings newer than the channel's newest, through the alert life cycle; older ones have had their turn."""
        events: list[AlertEvent] = []
        late_before_ms = now_ms - round(plan.settings.late_after_s * 1000)
        newest: dict[tuple[str, Quantity], int] = {}
        for reading in readings:
            key = (reading.probe, reading.quantity)
            known_ms = newest[key] if key in newest else (self.newest.get(key) or -1)
            if reading.time_ms <= known_ms:
                continue
            newest[key] = reading.time_ms
            channel = plan.channel(*key)
            if channel.tank is not None and not (reading.derived and channel.care is None):
                self._judge_one(reading, channel, reading.time_ms < late_before_ms, events)
        for key, time_ms in newest.items():
            self.newest.put(key, time_ms)
        return events

    def _judge_one(self, reading: CheckedReading, channel: ChannelPlan, late: bool, events: list[AlertEvent]) -> None:
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

    def track_of(self, subject_key: str) -> Track | None:
        """The track of an alert's subject, found by its key."""
        found = (track for track in self.tracks.all() if track.subject.key == subject_key)
        return next(found, None)

    def take(self, subject: Subject, one: Sample, delays: Delays, events: list[AlertEvent]) -> None:
        """One sample of one subject, in the writer."""
        track = self.tracks.get(subject) or Track(subject)
        after, happened = step(track, one, delays)
        if after is not track:
            self.tracks.put(subject, after)
            self._busy.add(subject.probe)
        events.extend(happened)


def convert(raw: RawReading) -> CheckedReading:
    """Raw to canonical unit with its flag; what cannot be converted is kept with FAIL and the reason."""
    try:
        value = converter(raw.quantity, raw.unit)(raw.value)
    except UnknownUnit as error:
        return CheckedReading(raw.probe, raw.quantity, raw.time_ms, raw.value, raw.unit, None, Flag.FAIL, str(error))
    if not -LARGEST < value < LARGEST:
        reason = f"{raw.value:g} {raw.unit} is no amount of anything in a tank"
        return CheckedReading(raw.probe, raw.quantity, raw.time_ms, raw.value, raw.unit, None, Flag.FAIL, reason)
    flag, reason = gross_range(raw.quantity, value)
    return CheckedReading(raw.probe, raw.quantity, raw.time_ms, raw.value, raw.unit, value, flag, reason)


def _refuse_time(time_ms: int, now_ms: int) -> str:
    if time_ms < EARLIEST_MS:
        return "its time is before 2000: set the collector's clock (its readings before that cannot be dated)"
    if time_ms > now_ms + AHEAD_MS:
        return f"its time is {(time_ms - now_ms) / 1000:.0f} s ahead of the service's clock: compare the two clocks"
    return ""
