"""Rehearsal: recorded readings through the same line as live ones, on a virtual clock, to see what would be told.

Convert, check, derive, judge, alert cycle, silence, late readings: all are the service's own parts, over a store in
memory. Must not do: touch a database on disk, send a message, or read the computer's clock.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from api.domain.alert import AlertEvent, AlertKind, Event, Priority, Subject
from api.domain.cause import Cause
from api.domain.outlook import Outlook
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.tank import Probe
from api.judge.alert_cycle import Track
from api.rehearsal.looks import Looks
from api.services.again import Again
from api.services.changes_late import ChangesStepwise
from api.services.ingest import Ingest
from api.services.lives import Lives
from api.services.memory import Layered
from api.services.plan import RoomPlan
from api.services.soft_guard import SoftGuard
from api.services.warn import Warn
from api.services.watch import LOOK_EVERY_S, Watch
from api.storage.in_memory import InMemoryStore

SHOWN = frozenset({Event.RAISED, Event.ESCALATED, Event.CLEARED, Event.FOUND_LATE})


@dataclass(frozen=True, slots=True)
class Told:
    """One thing an alert would have done. ``event`` is raised, escalated, cleared or found_late.

    ``time_ms`` is the readings' own time, ``told_ms`` when the service would have known. The likeliest cause is first.
    """

    time_ms: int
    told_ms: int
    tank: str | None
    kind: AlertKind
    probe: str | None
    quantity: Quantity | None
    priority: Priority
    event: Event
    value: float | None
    limit: float | None
    text: str
    causes: tuple[Cause, ...]
    outlook: Outlook | None


class Rehearsal:
    """One room that is rehearsed; ``begin_ms`` is when its service would have started."""

    def __init__(
        self, plan: RoomPlan, begin_ms: int, look_every_s: float = 60.0, store: InMemoryStore | None = None
    ) -> None:
        """``look_every_s``: how often silence is looked for; the live service does so every few seconds. [s]"""
        self.now_ms = begin_ms
        self._step_ms = round(max(LOOK_EVERY_S, look_every_s) * 1000)
        self._looked_ms = begin_ms
        self.store = store or InMemoryStore()
        self._heard: list[Told] = []
        self._warn = _Listening(self.store, lambda: plan, self._heard.append)
        self.ingest = Ingest(self.store, lambda: plan, self._warn)
        self.ingest.also = ChangesStepwise(self.ingest.judging).hear
        guard = SoftGuard(self.store, Lives(self.store), lambda: plan, lambda soft, stages: None, self._clock)
        self._watch = Watch(self.store, self.ingest, lambda: plan, self._clock, guard)
        self._again = Again(self.store, self.ingest, lambda: plan, self._clock)
        self._looks = Looks(plan, self.ingest.tracks, self._spoke_ms)

    def _clock(self) -> int:
        return self.now_ms

    def take(self, readings: Sequence[RawReading], now_ms: int) -> list[Told]:
        """Readings that arrive at a time, in any order; what they lead to, and what silence before them led to."""
        told = self.advance(now_ms)
        self.ingest.accept(readings, now_ms).result()
        return told + self._taken()

    def advance(self, now_ms: int) -> list[Told]:
        """Time goes on without readings; a time that has passed already changes nothing."""
        while self._looked_ms + self._step_ms <= now_ms:
            self._looked_ms += self._step_ms
            self.now_ms = max(self.now_ms, self._looked_ms)
            if self._looks.nothing_until(self._looked_ms) < self._looked_ms:
                self._watch.look()
            self._again.look()
        self.now_ms = max(self.now_ms, now_ms)
        return self._taken()

    def _spoke_ms(self, probe: Probe) -> int:
        """When a probe last spoke, or when the rehearsal began."""
        heard = [self.ingest.newest.get((probe.id, value.quantity)) or -1 for value in probe.values]
        return max([self._watch.since_ms, *heard])

    def _taken(self) -> list[Told]:
        told = list(self._heard)
        self._heard.clear()
        return told

    def close(self) -> None:
        """Let go of everything."""
        self.store.close()


class _Listening(Warn):
    """Hears what each event became. Returned alerts are said as cleared: nobody acknowledges in a rehearsal."""

    def __init__(self, store: InMemoryStore, plan: Callable[[], RoomPlan], hear: Callable[[Told], None]) -> None:
        super().__init__(store, plan)
        self._memory, self._hear = store, hear

    def take(self, events: Sequence[AlertEvent], tracks: Layered[Subject, Track], now_ms: int) -> None:
        """Record events one by one, and tell of them as they were recorded."""
        for event in events:
            super().take([event], tracks, now_ms)
            name = Event.CLEARED if event.event is Event.RETURNED else event.event
            if name not in SHOWN or (name is Event.CLEARED and not event.told):
                continue
            alert, text = self._memory.last_step()
            row = self._memory.state.alert(alert)
            priority = Priority(row.priority) if row is not None else event.priority
            if name is Event.FOUND_LATE:
                priority = Priority.NOTE
            subject = event.subject
            self._hear(
                Told(
                    event.time_ms, max(now_ms, event.time_ms),
                    subject.tank, subject.kind, subject.probe, subject.quantity,
                    priority, name, event.value, event.limit, text,
                    event.causes, event.outlook,
                )
            )  # fmt: skip
