"""What a person answers by the link in a message: going, cannot go, or known and left until a time.

A link is good for one answer. Must not do: act because a link was opened; or say more to a link that is not ours.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum

from api.domain.alert import AlertState, Priority
from api.domain.errors import InputError
from api.domain.people import time_of, time_words
from api.judge import bundle, rota
from api.judge.ladder import Ladder, begin, decline, first_goes, holds_until_ms, rest
from api.services.addresses import wanting, zone_of
from api.services.ingest import Ingest
from api.services.links import Link, Links
from api.services.plan import RoomPlan
from api.services.records import Records
from api.services.reopen import reopen
from api.storage.base import AlertRow, Store
from api.storage.reach_base import LinkUse

OPEN = (AlertState.UNACKNOWLEDGED, AlertState.ACKNOWLEDGED)


class Answer(StrEnum):
    """What a person can say."""

    GOING = "going"
    CANNOT = "cannot"
    KNOWN = "known"


ANSWER_WORDS = {Answer.GOING: "I am going", Answer.CANNOT: "cannot go, next person", Answer.KNOWN: "known, left"}


@dataclass(frozen=True, slots=True)
class LinkNow:
    """A link as it stands. ``use``: it was used already; ``open``: it may still be answered."""

    link: Link
    expired: bool
    use: LinkUse | None
    leave_until: str

    @property
    def open(self) -> bool:
        """Whether it is good for an answer."""
        return not self.expired and self.use is None


class Answering:
    """Shows what a link is worth, and takes its answer."""

    def __init__(
        self, store: Store, ingest: Ingest, plan: Callable[[], RoomPlan], records: Records, links: Links
    ) -> None:
        self._store, self._ingest, self._plan, self._records, self._links = store, ingest, plan, records, links

    def link(self, token: str, now_ms: int) -> LinkNow | None:
        """What a link is worth now; None when it is not ours. Changes nothing."""
        link = self._links.read(token)
        if link is None:
            return None
        leave_until = time_words(self._plan().ladder.leave_until)
        return LinkNow(link, now_ms >= link.expires_ms, self._store.reach.link_use(link.id), leave_until)

    def answer(self, link: Link, answer: Answer, person: str, until: str, now_ms: int) -> str | None:
        """Take an answer; a fresh link for changing one's mind, None when the link had been used or had expired.

        Raises InputError without a name, or for a time that is none; nothing is used up then.
        """
        person = link.person or " ".join(person.split())[:80]
        if not person or not person.isprintable():
            raise InputError("Give your name, so that others know who is seeing to it.")
        until_ms = None
        if answer is Answer.KNOWN:
            minute = time_of(until) if until else self._plan().ladder.leave_until
            until_ms = rota.next_time_ms(minute, now_ms, zone_of(self._plan()))
        if now_ms >= link.expires_ms:
            return None
        words = ANSWER_WORDS[answer] + (f" until {self._clock(until_ms)}" if until_ms is not None else "")
        work = lambda: self._work(link, answer, person, until_ms, words, now_ms)  # noqa: E731 - one expression
        if not self._store.write(work, self._ingest.settle).result():
            return None
        return self._links.token(link.alerts, person, now_ms)

    def _clock(self, time_ms: int) -> str:
        return f"{rota.local_of(time_ms, zone_of(self._plan())):%H:%M}"

    def _work(self, link: Link, answer: Answer, person: str, until_ms: int | None, words: str, now_ms: int) -> bool:
        if not self._store.reach.use_link(link.id, LinkUse(person, words, now_ms)):
            return False
        for alert in link.alerts:
            row = self._store.state.alert(alert)
            if row is None:
                continue
            ladder = self._store.reach.ladder(alert) or Ladder(alert)
            if answer is Answer.CANNOT:
                self._cannot(row, ladder, person, now_ms)
            else:
                self._takes(row, ladder, person, until_ms, words, now_ms)
        return True

    def _takes(self, row: AlertRow, ladder: Ladder, person: str, until_ms: int | None, words: str, now_ms: int) -> None:
        """A person takes an alert; one that others have taken already gets a second pair of hands."""
        if row.state == AlertState.ACKNOWLEDGED:
            self._store.state.add_event(row.id, "acknowledged", now_ms, person, words)
        else:
            self._records.take_over(self._ingest, row.id, person, words, now_ms)
        if row.state in OPEN:
            holds_ms = until_ms or holds_until_ms(Priority(row.priority), self._plan().ladder, now_ms)
            self._store.reach.keep(rest(ladder, person, now_ms, holds_ms))

    def _cannot(self, row: AlertRow, ladder: Ladder, person: str, now_ms: int) -> None:
        """The next one is told, unless somebody else has taken it."""
        self._store.state.add_event(row.id, "cannot_go", now_ms, person, "")
        taken_by_other = row.state == AlertState.ACKNOWLEDGED and row.acknowledged_by != person
        if row.state not in OPEN or taken_by_other:
            return
        if row.state == AlertState.ACKNOWLEDGED:
            self._ingest.begin()
            reopen(self._store, self._ingest, row, "reopened", now_ms, bundle.cannot_go(person))
            self._ingest.finish([], now_ms)
        if not ladder.began_ms:
            priority = Priority(row.priority)
            plan = self._plan()
            order = rota.order_now(wanting(plan, priority), now_ms, zone_of(plan))
            ladder = begin(ladder, priority, first_goes(order, person), now_ms)
        after = decline(replace(ladder, over=False), person, now_ms, bundle.cannot_go(person))
        self._store.reach.keep(after)
