"""What follows from an alert's event: its record, its words, and the messages put into the outbox.

Runs in the writer, inside the transaction of the readings that caused it. Must not do: deliver (``deliver.py``).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from api.domain.alert import PRIORITY_ORDER, AlertEvent, AlertState, Event, Priority, Subject
from api.domain.quantity import Quantity
from api.domain.words import KIND_WORDS
from api.judge import words
from api.judge.alert_cycle import OVER, Track
from api.judge.outlook import NOTHING, Outlook, look_ahead
from api.services.memory import Layered
from api.services.plan import RoomPlan
from api.storage.base import AlertRow, Store

TREND_MS = 2_400_000
"""The past a trend is told from. [ms]"""
URGENT_WITHIN_S = 4 * 3600.0
"""A standing alert whose water reaches the danger limit sooner than this is urgent: animals are at risk. [s]"""
LEAST_PER_HOUR = {Quantity.TEMPERATURE: 0.1, Quantity.OXYGEN: 0.1, Quantity.OXYGEN_SATURATION: 1.0}
"""Slower changes are called steady: judgement, from probe noise."""


def outlook_of(
    store: Store, plan: RoomPlan, probe: str, quantity: Quantity, now_ms: int, value: float | None
) -> Outlook:
    """Trend and time left of one channel from its 5-minute summaries and its newest value."""
    spans = store.readings.summaries(probe, quantity, now_ms - TREND_MS, now_ms + 1, 300, 300_000)
    points = [
        ((span.start_ms + min(now_ms, span.start_ms + 300_000)) // 2, span.mean)
        for span in spans
        if span.mean is not None
    ]
    care = plan.channel(probe, quantity).care
    return look_ahead(points, care, LEAST_PER_HOUR.get(quantity, 0.0), value)


def state_after(event: AlertEvent, track: Track) -> AlertState:
    """The state an event leaves its alert in; the track may be further on already, as a pack holds many readings."""
    if event.event is Event.CLEARED:
        return AlertState.NORMAL
    if event.event is Event.RETURNED:
        return AlertState.RETURNED_UNACKNOWLEDGED
    return track.state if track.state is AlertState.ACKNOWLEDGED else AlertState.UNACKNOWLEDGED


class Warn:
    """Turns alert events into records and messages."""

    def __init__(
        self, store: Store, plan: Callable[[], RoomPlan], link: Callable[[int, int], str] = lambda alert, now_ms: ""
    ) -> None:
        """``link``: where a message about an alert can be answered; empty: nowhere."""
        self._store, self._plan, self._link = store, plan, link

    def take(self, events: Sequence[AlertEvent], tracks: Layered[Subject, Track], now_ms: int) -> None:
        """Record events and post their messages, in order."""
        for event in events:
            track = tracks.get(event.subject) or Track(event.subject)
            self._one(event, track, now_ms)

    def _one(self, event: AlertEvent, track: Track, now_ms: int) -> None:
        subject = event.subject
        plan = self._plan()
        tank_name = plan.tanks[subject.tank].name if subject.tank in plan.tanks else (subject.tank or plan.room.name)
        outlook = NOTHING
        if subject.probe is not None and subject.quantity is not None and event.event not in OVER:
            outlook = outlook_of(self._store, plan, subject.probe, subject.quantity, event.time_ms, event.value)
            if outlook.left_s is not None and outlook.left_s < URGENT_WITHIN_S:
                event = replace(event, priority=Priority.URGENT)
        standing = self._store.state.standing(subject.key)
        if event.event in OVER and standing is not None:
            event = replace(event, priority=Priority(standing.priority))  # who was told it began is told it is over
        text = words.text(event, tank_name, outlook, max(now_ms, event.time_ms))
        alert = self._record(event, track, standing, text)
        self._store.state.add_event(alert, event.event, event.time_ms, text=text)
        if event.event is Event.FOUND_LATE:
            title = f"{tank_name}: {KIND_WORDS[subject.kind]}, found late"
            self.post(alert, Priority.NOTE, title, f"{text} {words.late(event, now_ms)}", now_ms)
        elif event.event in (Event.RAISED, Event.ESCALATED) or (event.event in OVER and event.told):
            link = self._link(alert, now_ms) if event.event not in OVER else ""
            body = f"{text}\nAnswer here: {link}\n{words.CAUTION}" if link else f"{text} {words.CAUTION}"
            self.post(alert, event.priority, words.title(event, tank_name), body, now_ms)
        if event.event not in OVER:
            self._store.reach.start(alert, now_ms)

    def _record(self, event: AlertEvent, track: Track, standing: AlertRow | None, text: str) -> int:
        subject = event.subject
        change: dict[str, object] = {
            "state": state_after(event, track),
            "priority": event.priority,
            "value": event.value,
        }
        if event.worst is not None:
            change["worst"] = event.worst
        if event.event not in OVER:
            change |= {"text": text, "limit_value": event.limit, "found_late": int(event.event is Event.FOUND_LATE)}
        if event.event is Event.CLEARED:
            change["ended_ms"] = event.time_ms
        if standing is not None:
            self._store.state.change_alert(standing.id, change)
            return standing.id
        return self._store.state.open_alert(
            {
                "worst": None,
                "text": text,
                "limit_value": event.limit,
                **change,
                "subject": subject.key,
                "tank": subject.tank,
                "kind": subject.kind,
                "probe": subject.probe,
                "quantity": subject.quantity,
                "since_ms": event.since_ms,
                "raised_ms": event.time_ms,
                "first_check": words.FIRST_CHECK[subject.kind],
            }
        )

    def post(self, alert: int | None, priority: Priority, title: str, body: str, now_ms: int) -> None:
        """Put one message a keeper's address into the outbox, for addresses that want this priority."""
        for notify in self._plan().notify:
            if PRIORITY_ORDER[priority] <= PRIORITY_ORDER[Priority(notify.priority)]:
                self._store.state.post(alert, notify.name, title, body, now_ms)
