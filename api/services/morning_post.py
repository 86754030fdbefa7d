"""Sends the morning report at its hour, once a day, to those who are in their hours then.

Must not do: wake anybody, or deliver (``deliver.py``).
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from api.domain.alert import Priority
from api.judge import rota
from api.services import morning_words
from api.services.addresses import targets_of, wants, zone_of
from api.services.links import address_of
from api.services.morning import Mornings
from api.services.plan import RoomPlan
from api.services.rounds import Rounds
from api.storage.base import Store
from api.storage.reach_base import REPORT

LOOK_EVERY_S = 20.0
LATE_MS = 6 * 3_600_000
"""A service that was down at the hour still sends the report for so long. [ms]"""
DOCUMENT = "morning report"


class MorningPost:
    """Looks every few seconds whether the hour has come."""

    def __init__(
        self, store: Store, plan: Callable[[], RoomPlan], mornings: Mornings, now_ms: Callable[[], int]
    ) -> None:
        self._store, self._plan, self._mornings, self._now_ms = store, plan, mornings, now_ms
        self.rounds = Rounds("morning report", self.look, LOOK_EVERY_S, now_ms)

    def look(self) -> None:
        """Send the report if its hour has come and it was not sent yet."""
        plan, now_ms = self._plan(), self._now_ms()
        if not plan.morning.sent:
            return
        zone = zone_of(plan)
        hour_ms = rota.last_time_ms(plan.morning.at, now_ms, zone)
        day = rota.local_of(hour_ms, zone).date()
        kept = self._store.state.document(DOCUMENT)
        if kept is not None and kept["day"] >= day.isoformat():
            return
        # a new room's first report comes with its first morning, not with its start
        targets = self._targets(plan, now_ms) if kept is not None and now_ms - hour_ms <= LATE_MS else []
        title, text = self._message(day, now_ms) if targets else ("", "")
        self._store.write(lambda: self._post(day, targets, title, text, now_ms)).result()

    def _message(self, day: date, now_ms: int) -> tuple[str, str]:
        plan, report = self._plan(), self._mornings.report(day, now_ms)
        address = address_of(plan)
        link = f"{address}/morning?day={report.day}" if address else ""
        return morning_words.title(report, plan.room.name), morning_words.body(report, zone_of(plan), link)

    def _targets(self, plan: RoomPlan, now_ms: int) -> list[str]:
        """The first channel of everybody in their hours, and the room's addresses; not those for urgent alerts only."""
        zone = zone_of(plan)
        people = [
            one for one in plan.people if wants(one.priority, Priority.TODAY) and rota.in_hours(one, now_ms, zone)
        ]
        room = [one.name for one in plan.notify if wants(one.priority, Priority.TODAY)]
        return [*(target for one in people for target in targets_of(one, every_channel=False)), *room]

    def _post(self, day: date, targets: list[str], title: str, text: str, now_ms: int) -> None:
        for target in targets:
            self._store.reach.tell(target, title, text, (), now_ms, REPORT)
        self._store.state.set_document(DOCUMENT, {"day": day.isoformat()}, now_ms)
