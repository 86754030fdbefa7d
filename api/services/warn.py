"""What follows from an alert's event: its record, its words, and the messages put into the outbox.

Runs in the writer, inside the transaction of the readings that caused it. Must not do: deliver (``deliver.py``).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from api.domain.alert import PRIORITY_ORDER, AlertEvent, AlertKind, AlertState, Event, Priority, Subject
from api.domain.cause import ROOM_WIDE
from api.domain.outlook import NOTHING
from api.domain.rest import Rest
from api.domain.words import KIND_WORDS
from api.judge import words
from api.judge.alert_cycle import OVER, Track
from api.judge.ladder import silent
from api.judge.resting import REPEAT_SPAN_MS, broken_by, resting_in, told_again
from api.services import reasons
from api.services.addresses import first_targets, room_targets
from api.services.memory import Layered
from api.services.plan import RoomPlan
from api.services.straight import straight_line
from api.storage.base import AlertRow, Store

URGENT_WITHIN_S = 4 * 3600.0
"""A standing alert whose water reaches the danger limit sooner than this is urgent: animals are at risk. [s]"""
HELD = "held"
BEGINNINGS = frozenset({Event.RAISED, Event.ESCALATED, Event.FOUND_LATE, HELD, "told_now"})
"""Steps that say whether what stands was told. A rest's end tells what stands by "told_now"."""
ROOM_KINDS = (AlertKind.LOW_OXYGEN, AlertKind.COLD, AlertKind.HEAT)


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
        outlook = event.outlook if event.outlook is not None and event.event not in OVER else NOTHING
        trusted = subject.kind is not AlertKind.NOT_KNOWN and event.event not in OVER
        if outlook is NOTHING and subject.kind not in words.CHANGES and subject.probe and subject.quantity and trusted:
            outlook = straight_line(self._store, plan, subject.probe, subject.quantity, event.time_ms, event.value)
            event = replace(event, outlook=outlook)
            if outlook.left_s is not None and outlook.left_s < URGENT_WITHIN_S:
                event = replace(event, priority=Priority.URGENT)
        standing = self._store.state.standing(subject.key)
        if event.event in OVER and standing is not None:
            event = replace(event, priority=Priority(standing.priority))  # who was told it began is told it is over
        text = words.text(event, tank_name, outlook, max(now_ms, event.time_ms))
        rest = self._resting(event, now_ms)
        alert = self._record(event, track, standing, text, rest)
        self._store.state.add_event(alert, event.event, event.time_ms, text=text)
        if rest is not None or self._told_for_room(event):
            return
        if self._held(event, alert):
            return
        if event.event is Event.FOUND_LATE:
            title = f"{tank_name}: {KIND_WORDS[subject.kind]}, found late"
            self.post(alert, Priority.NOTE, title, f"{text} {words.late(event, now_ms)}", now_ms)
        elif event.event in (Event.RAISED, Event.ESCALATED) or (event.event in OVER and event.told):
            over = event.event in OVER
            body = f"{text} {words.CAUTION}" if over else self.body(alert, text, now_ms)
            self.post(alert, event.priority, words.title(event, tank_name), body, now_ms, only_told=over)
        if event.event not in OVER:
            self._store.reach.start(alert, now_ms)

    def _resting(self, event: AlertEvent, now_ms: int) -> Rest | None:
        """The rest the event's alert is in; a shelf that is over, or broken by a more urgent alert, ends."""
        rests = self._store.rests.rests(running=True)
        found = resting_in(rests, event.subject) if rests else None
        if found is None or (event.event not in OVER and broken_by(found, event.priority)):
            if found is not None:
                self._store.rests.end(found.id, now_ms, "", f"it became {event.priority}, and was told")
            return None
        return found

    def _held(self, event: AlertEvent, alert: int) -> bool:
        """Whether a repeating alert has been told often enough: it is kept, and counted on its page.

        The end of what was held is not told either; who still waits to hear that it was over, hears it then.
        """
        if event.event in OVER:
            last = (step for step, _, _, _ in reversed(self._store.state.events(alert)) if step in BEGINNINGS)
            return next(last, "") == HELD
        if event.event is not Event.RAISED or event.priority is Priority.URGENT:
            return False
        since_ms = event.time_ms - REPEAT_SPAN_MS
        if told_again(self._store.rests.activations(event.subject.key, since_ms), event.priority):
            return False
        self._store.state.add_event(alert, HELD, event.time_ms)
        ladder = self._store.reach.ladder(alert)
        if ladder is not None and ladder.tells:
            self._store.reach.keep(silent(ladder))
        return True

    def _told_for_room(self, event: AlertEvent) -> bool:
        """Whether the tank shares what was told already, once, for the whole room."""
        subject = event.subject
        if event.event in OVER or not event.causes or event.causes[0].name not in ROOM_WIDE:
            return False
        for kind in ROOM_KINDS:
            if subject == Subject(None, kind):
                continue
            room = self._store.state.standing(Subject(None, kind).key)
            if room is not None and PRIORITY_ORDER[Priority(room.priority)] <= PRIORITY_ORDER[event.priority]:
                return True
        return False

    def _record(self, event: AlertEvent, track: Track, standing: AlertRow | None, text: str, rest: Rest | None) -> int:
        subject = event.subject
        change: dict[str, object] = {
            "state": state_after(event, track) if rest is None or event.event is Event.CLEARED else rest.state,
            "priority": event.priority,
            "value": event.value,
        }
        if event.event not in OVER and (why := reasons.written(event)):
            change["reasons"] = why
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
                "first_check": words.first_check(event),
            }
        )

    def body(self, alert: int, text: str, now_ms: int) -> str:
        """A room address's message about an alert that stands: its words, where to answer it, the caution."""
        link = self._link(alert, now_ms)
        return f"{text}\nAnswer here: {link}\n{words.CAUTION}" if link else f"{text} {words.CAUTION}"

    def post(
        self, alert: int | None, priority: Priority, title: str, body: str, now_ms: int, *, only_told: bool = False
    ) -> None:
        """Put one message a room's address into the outbox, for addresses that want this priority.

        ``only_told``: only for those that were told of the alert before. What belongs to no alert has no ladder, so
        whoever is first now is told too.
        """
        plan = self._plan()
        targets = room_targets(plan, priority)
        if alert is None:
            targets += first_targets(plan, priority, now_ms)
        for target in targets:
            if not only_told or alert is None or self._store.reach.heard(alert, target):
                self._store.state.post(alert, target, title, body, now_ms)
