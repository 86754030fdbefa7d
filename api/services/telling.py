"""The words of a telling: an alert as it stands now, or that it is over, put together into one message a target.

Runs in the writer. Must not do: decide who is told, or when (``reach.py``).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from api.domain.alert import AlertKind, Priority
from api.domain.words import KIND_WORDS
from api.judge import bundle
from api.judge.ladder import FIRST, Ladder
from api.services.addresses import owner_of
from api.services.links import Links
from api.services.now_words import NowWords
from api.services.outlooks import Outlooks
from api.services.plan import RoomPlan
from api.storage.base import AlertRow, Store

NEW_MS = 120_000
"""An alert that has waited longer, for somebody's hours, is told as it is now and not as it began. [ms]"""
OVER_STEPS = ("returned", "cleared")


class Telling:
    """Makes messages and puts them into the outbox."""

    def __init__(self, store: Store, plan: Callable[[], RoomPlan], links: Links, outlooks: Outlooks) -> None:
        self._store, self._plan, self._links = store, plan, links
        self._words = NowWords(store, plan, outlooks)

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
        place = self._words.place(row)
        kind = KIND_WORDS[AlertKind(row.kind)] + (", found late" if row.found_late else "")
        if ladder.over:
            return bundle.Said(place, kind, self._over(row, place), Priority(row.priority), over=True)
        new = ladder.rung == FIRST and not ladder.lead and now_ms - ladder.began_ms < NEW_MS
        text = row.text if new or row.found_late else self._words.text(row, now_ms)
        lead = ladder.lead
        if not lead and ladder.rung > FIRST:
            lead = bundle.unanswered((now_ms - ladder.began_ms) / 1000)
        return bundle.Said(place, kind, text, ladder.priority, lead)

    def _over(self, row: AlertRow, place: str) -> str:
        """The words with which the alert ended."""
        steps = self._store.state.events(row.id)
        said = [text for event, _, _, text in steps if event in OVER_STEPS and text]
        return said[-1] if said else f"{place}: {KIND_WORDS[AlertKind(row.kind)]} is over."
