"""The words of an alert as it stands now, from the newest reading, for whoever is told of it again.

Must not do: decide who is told.
"""

from __future__ import annotations

from collections.abc import Callable

from api.domain.alert import AlertEvent, AlertKind, Event, Priority, Subject
from api.domain.outlook import NOTHING
from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.domain.words import duration
from api.judge import words
from api.services import reasons
from api.services.outlooks import Outlooks
from api.services.plan import RoomPlan
from api.services.straight import not_behind, straight_line
from api.storage.base import AlertRow, Store

FRESH_MS = 900_000
"""A reading older than this is not told as how it is now. [ms]"""


class NowWords:
    """Makes them."""

    def __init__(self, store: Store, plan: Callable[[], RoomPlan], outlooks: Outlooks) -> None:
        self._store, self._plan, self._outlooks = store, plan, outlooks

    def place(self, row: AlertRow) -> str:
        """Where an alert is, by name."""
        plan = self._plan()
        return plan.tanks[row.tank].name if row.tank in plan.tanks else (row.tank or plan.room.name)

    def text(self, row: AlertRow, now_ms: int) -> str:
        """The alert's words from the newest reading; the words it began with when there is none."""
        place = self.place(row)
        if row.probe is None or row.quantity is None:
            return words.text(self._event(row, None, now_ms), place, NOTHING, now_ms)
        if row.kind in words.CHANGES:
            return row.text  # how much it has changed is not in the newest reading alone
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
