"""Going over kept readings again: those that came after newer ones, and those whose calibration has changed.

Values are made from raw, checks made by the batch, derived values put anew, and what came late is judged on its own
time. A span's work is cut into pieces, so that live readings never wait long. Must not do: page anyone for the past.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from api.domain.alert import AlertEvent
from api.domain.reading import Arrival, Flag, KeptReading
from api.services.again_columns import AgainColumns, Gone
from api.services.again_late import AgainLate
from api.services.ingest import Ingest
from api.services.past import Past
from api.services.past_checks import row as row_of
from api.services.plan import RoomPlan
from api.services.rounds import Rounds
from api.services.station import company_reach_ms
from api.storage.base import CALIBRATED, DERIVED, LATE, Store, Waiting
from api.storage.past_base import Columns

LOOK_EVERY_S = 1.0
SETTLED_MS = 3_000
"""A late span is gone over when nothing was added to it for this long. [ms]"""
PATIENCE_MS = 30_000
"""... or when it has been waiting for this long. [ms]"""
PIECE = 5_000
"""Readings gone over in one transaction."""


class Again:
    """Goes over what waits, every second."""

    def __init__(self, store: Store, ingest: Ingest, plan: Callable[[], RoomPlan], now_ms: Callable[[], int]) -> None:
        self._store, self._ingest, self._plan, self._now_ms = store, ingest, plan, now_ms
        self._columns, self._late = AgainColumns(store), AgainLate(store, ingest.judging)
        self._past = Past(store)
        self._seen: dict[tuple[str, str, str], int] = {}
        self.rounds = Rounds("again", self.look, LOOK_EVERY_S, now_ms)

    def look(self, *, at_once: bool = False) -> None:
        """Go over every span that is ready; ``at_once``: nothing more is added to any, so all are."""
        waiting = self._store.revisions.waiting()
        keys = {(span.probe, span.quantity, span.why) for span in waiting}
        self._seen = {key: seen_ms for key, seen_ms in self._seen.items() if key in keys}
        for span in waiting:
            if at_once or self._ready(span):
                while self._store.write(lambda span=span: self._piece(span), self._ingest.settle).result():  # type: ignore[misc]
                    self.rounds.goes_on()

    def _ready(self, span: Waiting) -> bool:
        now_ms = self._now_ms()
        since_ms = self._seen.setdefault((span.probe, span.quantity, span.why), now_ms)
        return span.why == CALIBRATED or now_ms - span.touched_ms >= SETTLED_MS or now_ms - since_ms >= PATIENCE_MS

    def _piece(self, asked: Waiting) -> bool:
        """One piece of a span, in the writer; True while there is more."""
        span = next((one for one in self._store.revisions.waiting() if one[:3] == asked[:3]), None)
        if span is None:
            return False
        self._ingest.begin()
        now_ms, plan, key = self._now_ms(), self._plan(), (span.probe, span.quantity)
        columns = self._store.past.kept(*key, span.start_ms, span.end_ms, PIECE)
        more = len(columns.times_ms) == PIECE
        last_ms = int(columns.times_ms[-1]) if len(columns.times_ms) else None
        up_to_ms = last_ms + 1 if more and last_ms is not None else span.end_ms
        events: list[AlertEvent] = []
        if last_ms is not None:
            gone = self._gone_over(span, columns, plan, events)
            self._those_beside(span, gone, plan, now_ms)
            if not more and gone.last_ms == last_ms:
                more = self._goes_on(span, up_to_ms, plan, now_ms)
        if not more and span.why != CALIBRATED:
            self._late.end(key, plan, events, own=span.why == LATE)
        self._store.revisions.gone_over(span, up_to_ms)
        self._ingest.finish(events, now_ms)
        return more

    def _gone_over(self, span: Waiting, columns: Columns, plan: RoomPlan, events: list[AlertEvent]) -> Gone:
        """One piece, column by column where none of it is still to be judged."""
        key = (span.probe, span.quantity)
        if span.why != DERIVED and (columns.arrivals == Arrival.WAITING).any():
            return self._one_by_one(
                span, [row_of(columns, place) for place in range(len(columns.times_ms))], plan, events
            )
        work = self._columns.derive if span.why == DERIVED else self._columns.go_over
        gone = work(key, columns, plan)
        newest_ms = gone.derived.newest_ms if gone.derived is not None else None
        self._ingest.station.made_again(key, plan, newest_ms, checked=span.why != DERIVED)
        if gone.derived is not None and span.why != CALIBRATED:
            self._late.learnt(gone.derived, plan, events)
        return gone

    def _one_by_one(self, span: Waiting, rows: list[KeptReading], plan: RoomPlan, events: list[AlertEvent]) -> Gone:
        """Values, checks and derived values of one piece; the rows that have changed."""
        channel = plan.channel(span.probe, span.quantity)
        anew = self._past.anew(span.probe, span.quantity, rows, channel, plan)
        settled = [replace(row, arrival=Arrival.LATE) if row.arrival is Arrival.WAITING else row for row in anew]
        changed = [row for row, before in zip(settled, rows, strict=True) if row != before]
        self._store.revisions.rewrite(span.probe, span.quantity, changed)
        late = {row.time_ms for row in rows if row.arrival is Arrival.WAITING}
        self._late.judge((span.probe, span.quantity), [row for row in settled if row.time_ms in late], plan, events)
        if late:
            self._late.changes.judge((span.probe, span.quantity), min(late), max(late), channel, plan, events)
        self._derive(span, settled, plan, late, events)
        return Gone(changed[0].time_ms, changed[-1].time_ms) if changed else Gone()

    def _derive(
        self, span: Waiting, rows: list[KeptReading], plan: RoomPlan, late: set[int], events: list[AlertEvent]
    ) -> None:
        """What is derived from a piece's rows."""
        key = (span.probe, span.quantity)
        derived = self._past.derived(*key, rows, plan)
        changed: list[KeptReading] = []
        if derived is not None:
            other, others = derived
            kept = self._store.revisions.rows(span.probe, other, rows[0].time_ms, rows[-1].time_ms + 1)
            before = {row.time_ms: row for row in kept}
            changed = [row for row in others if row != before.get(row.time_ms)]
            self._store.revisions.rederive(span.probe, other, changed)
            if plan.channel(span.probe, other).care is not None:
                learnt = {row.time_ms for row in changed if span.why != CALIBRATED and _learnt(row, before)}
                mine = [row for row in others if row.time_ms in late or row.time_ms in learnt]
                self._late.judge((span.probe, other), mine, plan, events)
        last_ms = changed[-1].time_ms if changed else None
        self._ingest.station.made_again(key, plan, last_ms, checked=span.why != DERIVED)

    def _those_beside(self, span: Waiting, gone: Gone, plan: RoomPlan, now_ms: int) -> None:
        """What leans on rows that have changed, and what they keep company, is gone over as well."""
        if gone.first_ms is None or gone.last_ms is None:
            return
        first_ms, last_ms = gone.first_ms, gone.last_ms
        touched_ms = now_ms - SETTLED_MS if span.why == CALIBRATED else now_ms
        reach_ms = self._past.reach_ms(span.quantity)
        for key in self._past.leaning_on(span.probe, span.quantity, plan):
            self._store.revisions.wait(*key, DERIVED, first_ms - reach_ms, last_ms + reach_ms + 1, touched_ms)
        for probe in plan.channel(span.probe, span.quantity).company:
            end_ms = last_ms + company_reach_ms(plan.channel(probe, span.quantity)) + 1
            self._store.revisions.wait(probe, span.quantity, LATE, first_ms, end_ms, touched_ms)

    def _goes_on(self, span: Waiting, up_to_ms: int, plan: RoomPlan, now_ms: int) -> bool:
        """The last reading became another: those after it may, too."""
        end_ms = up_to_ms + round(plan.channel(span.probe, span.quantity).limits.past_s * 1000)
        self._store.revisions.wait(span.probe, span.quantity, span.why, up_to_ms, end_ms, now_ms)
        return True


def _learnt(row: KeptReading, before: Mapping[int, KeptReading]) -> bool:
    """Whether a derived value could not be had, or used, before."""
    was = before.get(row.time_ms)
    return was is not None and _usable(row) and not _usable(was)


def _usable(row: KeptReading) -> bool:
    return row.value is not None and row.flag <= Flag.SUSPECT
