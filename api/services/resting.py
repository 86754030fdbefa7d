"""Alerts at rest: shelved by a person, suppressed while somebody works on a tank, or out of service with tank or probe.

Judging goes on meanwhile; only telling stops. Must not do: decide how long a rest may be (``api/judge/resting.py``).
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future

from api.domain.alert import AlertEvent, AlertState, Priority
from api.domain.errors import InputError, NotFound
from api.domain.rest import Rest, Scope
from api.domain.texts import person_name, writable
from api.domain.words import KIND_WORDS, duration
from api.judge.resting import REPEAT_SPAN_MS, RULES, WORK_MS, is_over, shelf_until_ms
from api.services.ingest import Ingest
from api.services.plan import RoomPlan
from api.services.rested import Rested
from api.services.rounds import Rounds
from api.storage.base import Store

LOOK_EVERY_S = 5.0
MOST_ALERTS = 1000
WAITING_STATES = (AlertState.UNACKNOWLEDGED, AlertState.RETURNED_UNACKNOWLEDGED)


class Resting:
    """Begins and ends rests; its rounds end those whose time is up."""

    def __init__(
        self, store: Store, ingest: Ingest, plan: Callable[[], RoomPlan], rested: Rested, now_ms: Callable[[], int]
    ) -> None:
        self._store, self._ingest, self._plan, self._rested, self._now_ms = store, ingest, plan, rested, now_ms
        self.rounds = Rounds("alerts at rest", self.look, LOOK_EVERY_S, now_ms)

    @property
    def rules(self) -> tuple[str, ...]:
        """What keepers are told about rests."""
        return RULES

    def rests(self, *, running: bool = True) -> list[Rest]:
        """Newest first."""
        return self._store.rests.rests(running=running)

    def shelve(self, alert: int, minutes: float, person: str, reason: str) -> Future[int]:
        """Shelve one alert for a time.

        Raises NotFound, or InputError without name or reason, for a length it may not have, or where nothing stands.
        """
        row = self._store.state.alert(alert)
        if row is None:
            raise NotFound(f"there is no alert {alert}")
        if row.ended_ms is not None:
            raise InputError("this alert is over: there is nothing to shelve")
        priority, now_ms = Priority(row.priority), self._now_ms()
        until_ms = shelf_until_ms(priority, minutes, now_ms)
        return self._begin(AlertState.SHELVED, Scope.ALERT, row.subject, person, reason, until_ms, priority)

    def work(self, tank: str, person: str) -> Future[int]:
        """Somebody works on a tank for the next half hour; said again, the half hour begins anew. Raises NotFound."""
        self._known(Scope.TANK, tank)
        until_ms = self._now_ms() + WORK_MS
        reason = "working on this tank"
        return self._begin(AlertState.SUPPRESSED_BY_DESIGN, Scope.TANK, tank, person, reason, until_ms)

    def out_of_service(self, scope: Scope, key: str, person: str, reason: str) -> Future[int]:
        """Take a tank or a probe out of service until a person brings it back. Raises NotFound, InputError."""
        self._known(scope, key)
        return self._begin(AlertState.OUT_OF_SERVICE, scope, key, person, reason, None)

    def end(self, rest: int, person: str) -> Future[str]:
        """Bring back what rests; the outcome in words. Raises NotFound where this rest does not run."""
        name = person_name(person, "a rest is ended")
        found = next((one for one in self.rests() if one.id == rest), None)
        if found is None:
            raise NotFound(f"no alerts rest under number {rest}")
        now_ms = self._now_ms()
        return self._store.write(lambda: self._ended(found, name, now_ms), self._ingest.settle)

    def look(self) -> None:
        """End what is over, and tell what came too often a moment ago and stands all the same."""
        now_ms = self._now_ms()
        for rest in self.rests():
            if is_over(rest, now_ms):
                self._end_late(rest, now_ms)
        held = [row.id for row in self._store.state.alerts([AlertState.UNACKNOWLEDGED], MOST_ALERTS)]
        held = [alert for alert in held if self._held_since(alert, now_ms)]
        if held:
            self._store.write(lambda: self._tell_held(held, now_ms), self._ingest.settle).result()

    def _end_late(self, rest: Rest, now_ms: int) -> None:
        self._store.write(lambda: self._ended(rest, "", now_ms), self._ingest.settle).result()

    def _held_since(self, alert: int, now_ms: int) -> bool:
        held = [time_ms for event, time_ms, _, _ in self._store.state.events(alert)[-1:] if event == "held"]
        return bool(held) and now_ms - held[0] >= REPEAT_SPAN_MS

    def _tell_held(self, held: list[int], now_ms: int) -> None:
        self._ingest.begin()
        for alert in held:
            row = self._store.state.alert(alert)
            if row is not None and row.state == AlertState.UNACKNOWLEDGED:
                self._rested.tell(row, "It came again and again, and stands now.", now_ms)
        self._ingest.finish([], now_ms)

    def _known(self, scope: Scope, key: str) -> None:
        known = self._plan().tanks if scope is Scope.TANK else self._plan().probes
        if scope is Scope.ALERT or key not in known:
            raise NotFound(f"there is no {scope} {key[:80]!r}")

    def _begin(
        self,
        state: AlertState,
        scope: Scope,
        key: str,
        person: str,
        reason: str,
        until_ms: int | None,
        priority: Priority = Priority.NOTE,
    ) -> Future[int]:
        name, why = person_name(person, "alerts are put to rest"), " ".join(reason.split())
        writable("the reason", why, 300)
        if not why:
            raise InputError("give the reason, so that others know why nothing is told")
        rest = Rest(0, state, scope, key, name, why, self._now_ms(), until_ms, priority)
        return self._store.write(lambda: self._begun(rest), self._ingest.settle)

    def _begun(self, rest: Rest) -> int:
        """In the writer: the rest is kept, the alerts it covers show it; one of the same kind is replaced."""
        self._ingest.begin()
        for one in self._store.rests.rests(running=True):
            if (one.state, one.scope, one.key) == (rest.state, rest.scope, rest.key):
                self._store.rests.end(one.id, rest.from_ms, rest.person, "said again")
        made = self._store.rests.open(rest)
        for row in self._rested.covered(rest):
            self._store.state.change_alert(row.id, {"state": rest.state})
            until = f", for {duration((rest.until_ms - rest.from_ms) / 1000)}" if rest.until_ms is not None else ""
            self._store.state.add_event(row.id, rest.state, rest.from_ms, rest.person, f"{rest.reason}{until}")
        self._ingest.finish([], rest.from_ms)
        return made

    def _ended(self, rest: Rest, person: str, now_ms: int) -> str:
        """In the writer: what the rest covered goes back to the state its water is in, and is told if it stands."""
        self._ingest.begin()
        events: list[AlertEvent] = []
        self._store.rests.end(rest.id, now_ms, person, "")
        stand = [row for row in self._rested.covered(rest) if self._rested.back(row, rest, person, now_ms)]
        not_back = [KIND_WORDS[self._rested.kind(row)] for row in stand]
        if rest.scope is Scope.TANK and rest.state is AlertState.SUPPRESSED_BY_DESIGN:
            not_back += self._rested.look_over(rest.key, now_ms, events)
        outcome = f"not all is back: {'; '.join(dict.fromkeys(not_back))}" if not_back else "all is back"
        self._store.rests.note(rest.id, outcome)
        for row in stand:
            self._rested.tell(row, f"{_over(rest)}, and this still stands.", now_ms)
        self._ingest.finish(events, now_ms)
        return outcome


def _over(rest: Rest) -> str:
    words = {
        AlertState.SHELVED: f"The shelf of {rest.person} has ended",
        AlertState.SUPPRESSED_BY_DESIGN: f"The work of {rest.person} is over",
        AlertState.OUT_OF_SERVICE: "It is in service again",
    }
    return words[rest.state]
