"""The daily test message to every person and every address; one that does not arrive is an alert.

A channel is believed only as long as its last test was delivered. Must not do: deliver, or wake anybody: people get
their test in their own hours.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import tzinfo

from api.domain.alert import AlertEvent, AlertKind, Priority, Subject
from api.domain.people import Person, time_words
from api.judge import rota
from api.judge.alert_cycle import AT_ONCE, STANDING, Sample
from api.services.addresses import addresses, owner_of, zone_of
from api.services.ingest import Ingest
from api.services.plan import RoomPlan
from api.storage.base import Store
from api.storage.reach_base import TEST, SentTest

DELIVERED_WITHIN_MS = 600_000
"""A test message that takes longer has failed: judgement. [ms]"""
LOOK_EVERY_MS = 5_000
SUBJECT = Subject(None, AlertKind.NOT_DELIVERED)
DOCUMENT = "test message"


class DailyTest:
    """Sends each target its test once a day, and at any time when a keeper asks for it."""

    def __init__(self, store: Store, ingest: Ingest, plan: Callable[[], RoomPlan]) -> None:
        self._store, self._ingest, self._plan = store, ingest, plan
        self._looked_ms = -LOOK_EVERY_MS

    def look(self, now_ms: int) -> None:
        """Send what is due, and raise or end the alert of tests that did not arrive; at most every few seconds."""
        if 0 <= now_ms - self._looked_ms < LOOK_EVERY_MS:
            return
        self._looked_ms = now_ms
        due = self._due(now_ms)
        track = self._ingest.track_of(SUBJECT.key)
        standing = track is not None and track.state in STANDING
        late = self._late(now_ms, 0 if standing else DELIVERED_WITHIN_MS)
        if due or bool(late) != standing:
            self._store.write(lambda: self._work(due, late, now_ms), self._ingest.settle).result()

    def send(self, now_ms: int) -> list[str]:
        """Send every target a test message now; the targets."""
        targets = list(addresses(self._plan()))
        self._store.write(lambda: self._post(targets, now_ms)).result()
        return targets

    def newest(self) -> dict[str, SentTest]:
        """The newest test of each target that is still there."""
        known = addresses(self._plan())
        return {row.target: row for row in self._store.reach.tests() if row.target in known}

    def _due(self, now_ms: int) -> list[str]:
        plan = self._plan()
        if plan.ladder.test_at is None:
            return []
        zone = zone_of(plan)
        hour_ms = rota.last_time_ms(plan.ladder.test_at, now_ms, zone)
        begun_ms = int((self._store.state.document(DOCUMENT) or {}).get("since_ms", now_ms))
        if not self._store.state.document(DOCUMENT):
            # a new room's first test comes with its first test hour, not with its start
            self._store.write(lambda: self._store.state.set_document(DOCUMENT, {"since_ms": now_ms}, now_ms)).result()
        if hour_ms < begun_ms:
            return []
        sent = self.newest()
        waiting = (target for target in addresses(plan) if target not in sent or sent[target].created_ms < hour_ms)
        owners = ((target, owner_of(target, plan)) for target in waiting)
        return [target for target, owner in owners if owner is None or _turn(owner, plan.ladder.test_at, now_ms, zone)]

    def _late(self, now_ms: int, within_ms: int) -> list[SentTest]:
        """Newest tests that have not arrived in time; while the alert stands, only an arrival ends it."""
        return [
            row for row in self.newest().values() if row.delivered_ms is None and now_ms - row.created_ms >= within_ms
        ]

    def _work(self, due: list[str], late: list[SentTest], now_ms: int) -> None:
        self._ingest.begin()
        events: list[AlertEvent] = []
        level = Priority.TODAY if late else None
        since_ms = min((row.created_ms for row in late), default=None)
        self._ingest.take(SUBJECT, Sample(now_ms, level, since_ms=since_ms), AT_ONCE, events)
        self._ingest.finish(events, now_ms)
        self._post(due, now_ms)

    def _post(self, targets: list[str], now_ms: int) -> None:
        plan = self._plan()
        at = time_words(rota.local_of(now_ms, zone_of(plan)).hour * 60 + rota.local_of(now_ms, zone_of(plan)).minute)
        for target in targets:
            title = f"Test from {plan.room.name}"
            body = (
                f"Test message of {plan.room.name}, {at}, to {target}. Nothing is wrong: messages reach you."
                " If it does not come one day, look at the room."
            )
            self._store.reach.tell(target, title, body, (), now_ms, TEST)


def _turn(person: Person, minute: int, now_ms: int, zone: tzinfo) -> bool:
    """Whether a person's test may be sent now: in their hours, and not when today's test hour is still to come."""
    span = rota.hours_now(person, now_ms, zone)
    if span is None:
        return False
    came = span[0] <= rota.last_time_ms(minute, now_ms, zone)
    return came or not span[0] <= rota.next_time_ms(minute, now_ms, zone) < span[1]
