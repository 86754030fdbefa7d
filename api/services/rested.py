"""What becomes of alerts when their rest ends: back to the state of their water, told where they stand.

Runs in the writer, inside a piece of work. Must not do: begin or end rests (``resting.py``).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from api.domain.alert import AlertEvent, AlertKind, AlertState, Priority, Subject
from api.domain.quantity import MEANING, Quantity
from api.domain.reading import Flag
from api.domain.rest import Rest
from api.domain.words import KIND_WORDS
from api.judge.alert_cycle import AT_ONCE, Sample
from api.judge.assess import assess
from api.judge.ladder import holds_until_ms, rest
from api.judge.resting import resting_in
from api.judge.samples import LEVELS
from api.judge.words import amount
from api.services.ingest import Ingest
from api.services.now_words import NowWords
from api.services.plan import ChannelPlan, RoomPlan
from api.services.warn import Warn
from api.services.watch import quiet_after_s
from api.storage.base import AlertRow, Channel, Store

MOST_ALERTS = 1000
OPEN = [state for state in AlertState if state is not AlertState.NORMAL]


class Rested:
    """Used by ``Resting`` inside its own work in the writer."""

    def __init__(self, store: Store, ingest: Ingest, plan: Callable[[], RoomPlan], warn: Warn) -> None:
        self._store, self._ingest, self._plan, self._warn = store, ingest, plan, warn
        self._words = NowWords(store, plan, ingest.judging.outlooks)

    def covered(self, one: Rest) -> list[AlertRow]:
        """Open alerts a rest covers."""
        return [row for row in self._store.state.alerts(OPEN, MOST_ALERTS) if one.covers(subject_of(row))]

    def kind(self, row: AlertRow) -> AlertKind:
        """What is wrong."""
        return AlertKind(row.kind)

    def back(self, row: AlertRow, ended: Rest, person: str, now_ms: int) -> bool:
        """Bring an alert back to the state of its water; whether it stands and has to be told."""
        other = resting_in(self._store.rests.rests(running=True), subject_of(row))
        if other is not None:
            self._store.state.change_alert(row.id, {"state": other.state})
            return False
        track = self._ingest.track_of(row.subject)
        state = track.state if track is not None else AlertState.NORMAL
        change: dict[str, object] = {"state": state}
        if state is AlertState.NORMAL:
            change["ended_ms"] = now_ms
        self._store.state.change_alert(row.id, change)
        self._store.state.add_event(row.id, "rest_over", now_ms, person, "" if person else "by itself")
        ladder = self._store.reach.ladder(row.id)
        if state is AlertState.ACKNOWLEDGED and ladder is not None:
            holds_ms = holds_until_ms(Priority(row.priority), self._plan().ladder, now_ms)
            self._store.reach.keep(rest(ladder, row.acknowledged_by or "", now_ms, holds_ms))
        return state is AlertState.UNACKNOWLEDGED

    def tell(self, row: AlertRow, lead: str, now_ms: int) -> None:
        """Tell an alert that stands, to the room's own addresses now and to people by their ladder."""
        place = self._words.place(row)
        start = "URGENT " if row.priority == Priority.URGENT else ""
        body = self._warn.body(row.id, f"{self._words.text(row, now_ms)} {lead}", now_ms)
        self._warn.post(row.id, Priority(row.priority), f"{start}{place}: {KIND_WORDS[self.kind(row)]}", body, now_ms)
        self._store.state.add_event(row.id, "told_now", now_ms, text=lead)
        self._store.reach.start(row.id, now_ms)
        ladder = self._store.reach.ladder(row.id)
        if ladder is not None:
            self._store.reach.keep(replace(ladder, lead=lead))

    def look_over(self, tank: str, now_ms: int, events: list[AlertEvent]) -> list[str]:
        """After work: each probe must speak and be believed, each value be inside; what is not is an alert at once."""
        plan, wrong = self._plan(), []
        for one in self._store.readings.channels():
            channel = plan.channel(one.probe, one.quantity)
            if channel.tank is None or channel.tank.id != tank or one.derived or one.last_ms < 0:
                continue
            label, probe = MEANING[one.quantity].label, plan.probes[one.probe]
            if not probe.live:
                continue
            heard = now_ms - one.last_ms <= quiet_after_s(probe, plan) * 1000
            if not heard or one.flag >= Flag.FAIL:
                wrong.append(f"{label} of {one.probe} is not known")
                self._take(channel.not_known, Sample(now_ms, Priority.TODAY, one.value, since_ms=one.last_ms), events)
            elif channel.care is not None and one.value is not None:
                wrong += self._outside(one, channel, now_ms, events)
        return wrong

    def _outside(self, one: Channel, channel: ChannelPlan, now_ms: int, events: list[AlertEvent]) -> list[str]:
        assessment = assess(one.value, channel.care)
        level = LEVELS.get(assessment.band)
        if level is None or one.value is None:
            return []
        for subject, side in channel.kinds:
            if side is None or side is assessment.side:
                sample = Sample(now_ms, level, one.value, assessment.limit, back=False, since_ms=one.last_ms)
                self._take(subject, sample, events)
        return [f"{MEANING[one.quantity].label} is {amount(one.value, one.quantity)}"]

    def _take(self, subject: Subject, sample: Sample, events: list[AlertEvent]) -> None:
        """A look that counts, though a reading of the same moment was judged already."""
        track = self._ingest.tracks.get(subject)
        after_ms = track.last_ms + 1 if track is not None else 0
        self._ingest.take(subject, replace(sample, time_ms=max(sample.time_ms, after_ms)), AT_ONCE, events)


def subject_of(row: AlertRow) -> Subject:
    """What an alert's record is about."""
    quantity = Quantity(row.quantity) if row.quantity is not None else None
    return Subject(row.tank, AlertKind(row.kind), row.probe, quantity, past=row.subject.endswith("/past"))
