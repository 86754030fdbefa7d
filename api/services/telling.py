"""The words of a telling: an alert as it stands now, or that it is over, put together into one message a target.

Runs in the writer. Must not do: decide who is told, or when (``reach.py``).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from api.domain.alert import AlertEvent, AlertKind, Event, Priority, Subject
from api.domain.outlook import NOTHING
from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.domain.words import KIND_WORDS, duration
from api.judge import bundle, words
from api.judge.ladder import FIRST, Ladder
from api.services import reasons
from api.services.addresses import owner_of
from api.services.links import Links
from api.services.outlooks import Outlooks
from api.services.plan import RoomPlan
from api.services.straight import not_behind, straight_line
from api.storage.base import AlertRow, Store

FRESH_MS = 900_000
"""A reading older than this is not told as how it is now. [ms]"""
NEW_MS = 120_000
"""An alert that has waited longer, for somebody's hours, is told as it is now and not as it began. [ms]"""
OVER_STEPS = ("returned", "cleared")


class Telling:
    """Makes messages and puts them into the outbox."""

    def __init__(self, store: Store, plan: Callable[[], RoomPlan], links: Links, outlooks: Outlooks) -> None:
        self._store, self._plan, self._links, self._outlooks = store, plan, links, outlooks

    def post(self, target: str, told: Sequence[tuple[Ladder, AlertRow]], now_ms: int) -> None:
        """One message for one target about everything it is told of now."""
        plan = self._plan()
        said = [self._said(ladder, row, now_ms) for ladder, row in told]
        standing = [row.id for ladder, row in told if not ladder.over]
        owner = owner_of(target, plan)
        link = self._links.make(standing, owner.name if owner is not None else "", now_ms)
        tells = [(ladder.alert, ladder.tells + 1) for ladder, _ in told]
        self._store.reach.tell(target, bundle.title(said), bundle.body(said, link), tells, now_ms)

    def _said(self, ladder: Ladder, row: AlertRow, now_ms: int) -> bundle.Said:
        place = self.place(row)
        kind = KIND_WORDS[AlertKind(row.kind)] + (", found late" if row.found_late else "")
        if ladder.over:
            return bundle.Said(place, kind, self._over(row, place), Priority(row.priority), over=True)
        new = ladder.rung == FIRST and not ladder.lead and now_ms - ladder.began_ms < NEW_MS
        text = row.text if new or row.found_late else self._now(row, place, now_ms)
        lead = ladder.lead
        if not lead and ladder.rung > FIRST:
            lead = bundle.unanswered((now_ms - ladder.began_ms) / 1000)
        return bundle.Said(place, kind, text, ladder.priority, lead)

    def place(self, row: AlertRow) -> str:
        """Where an alert is, by name."""
        plan = self._plan()
        return plan.tanks[row.tank].name if row.tank in plan.tanks else (row.tank or plan.room.name)

    def _over(self, row: AlertRow, place: str) -> str:
        """The words with which the alert ended."""
        steps = self._store.state.events(row.id)
        said = [text for event, _, _, text in steps if event in OVER_STEPS and text]
        return said[-1] if said else f"{place}: {KIND_WORDS[AlertKind(row.kind)]} is over."

    def _now(self, row: AlertRow, place: str, now_ms: int) -> str:
        """The alert's words from the newest reading; the words it began with when there is none."""
        if row.probe is None or row.quantity is None:
            return words.text(self._event(row, None, now_ms), place, NOTHING, now_ms)
        quantity = Quantity(row.quantity)
        channel = next(
            (one for one in self._store.readings.channels() if (one.probe, one.quantity) == (row.probe, quantity)), None
        )
        if channel is None or channel.value is None or channel.flag > Flag.SUSPECT:
            return row.text
        if now_ms - channel.last_ms > FRESH_MS:
            return f"{row.text} That was the last reading, {duration((now_ms - channel.last_ms) / 1000)} ago."
        plan = self._plan()
        outlook = self._outlooks.outlook(plan.channel(row.probe, quantity), row.probe, quantity)
        if outlook is NOTHING:
            outlook = straight_line(self._store, plan, row.probe, quantity, channel.last_ms, channel.value)
        outlook = not_behind(outlook, channel.value)
        return words.text(self._event(row, channel.value, now_ms), place, outlook, now_ms)

    def _event(self, row: AlertRow, value: float | None, now_ms: int) -> AlertEvent:
        """The alert as it would be told if it began now, with the causes it was told with."""
        subject = Subject(row.tank, AlertKind(row.kind), row.probe, Quantity(row.quantity) if row.quantity else None)
        return AlertEvent(
            subject, Event.ESCALATED, now_ms, Priority(row.priority), value, row.limit_value, row.since_ms,
            causes=reasons.read(row.reasons)[0],
        )  # fmt: skip
