"""Recorded rows that are judged later than they are kept: when what follows them is known, or when their file is over.

Each piece of work notes in its own transaction what is still to be judged, so that a kill loses none of it. Must not
do: keep a reading.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from api.domain.alert import AlertEvent
from api.domain.reading import Arrival
from api.science.arrays import Bools, Ints
from api.services.derive import OTHER
from api.services.leaning import derives
from api.services.past_derived import PastDerived
from api.services.past_judging import PastJudging
from api.services.past_rows import Key
from api.services.past_spans import NONE, clipped, inside, spans_of, union
from api.services.plan import RoomPlan
from api.storage.base import Store
from api.storage.past_base import Columns, picked
from api.storage.unjudged_base import NEVER_MS, Unjudged

FIRST_MS, EVER_MS = -(2**62), 2**62
ROWS = 16_000
"""Rows judged in one piece of work when a file is over."""
NOTHING = Unjudged(NONE)


class Held:
    """What one piece of work finds held, and what it leaves; ``events`` are what came of it."""

    def __init__(
        self, store: Store, judging: PastJudging, plan: RoomPlan, job: int, before: Mapping[Key, Unjudged]
    ) -> None:
        self._store, self._judging, self._plan, self._job = store, judging, plan, job
        self.rows = dict(before)
        self.events: list[AlertEvent] = []
        self._fresh: dict[Key, list[Ints]] = {}
        self._changed: dict[Key, None] = {}

    def came(self, key: Key, newest_ms: int) -> None:
        """A channel of the file itself has new rows."""
        one = self.rows.get(key, NOTHING)
        self._put(key, replace(one, newest_ms=max(newest_ms, one.newest_ms)))

    def _put(self, key: Key, one: Unjudged) -> None:
        self.rows[key] = one
        self._changed[key] = None

    def save(self) -> None:
        """Note what is left, with the transaction at hand."""
        for key in self._changed:
            one = self.rows[key] = replace(self.rows[key], changes_ms=self._judging.changes.done_ms(key))
            fresh = np.concatenate(self._fresh[key]) if key in self._fresh else None
            self._store.past.unjudged.put(self._job, *key, one, fresh)

    def take(self, key: Key, rows: Columns, new: Bools, open_ms: int, *, falling: bool) -> None:
        """One channel's new rows, and those held before, are judged up to a time; if it falls, none of them yet."""
        if not new.any() or self._plan.channel(*key).tank is None:
            return
        first_ms, last_ms = (int(one) for one in rows.times_ms[new][[0, -1]])
        before = self.rows.get(key, NOTHING)
        mine = spans_of(rows.times_ms, new)
        if falling and not before.at_end:
            if before.last_ms != NEVER_MS:
                self._close(key, before)
            before = replace(before, spans_ms=NONE, at_end=True)
            self._store.past.unjudged.put(self._job, *key, before)
        if before.at_end:
            self._put(key, replace(before, spans_ms=np.concatenate((before.spans_ms, mine)), last_ms=last_ms))
            self._fresh.setdefault(key, []).append(mine)
            return
        if before.last_ms >= first_ms:
            self._close(key, before)
            before = replace(before, spans_ms=NONE, last_ms=NEVER_MS)
        if before.last_ms == NEVER_MS and self._judging.goes_back(key, first_ms, self._plan):
            self._judging.end(key, self._plan, self.events)
        mine = union(before.spans_ms, mine)
        self._judge_kept(key, clipped(mine, FIRST_MS, min(open_ms, int(rows.times_ms[0]))))
        self._judge(key, rows, mine, open_ms)
        self._put(key, replace(before, spans_ms=clipped(mine, open_ms, EVER_MS), last_ms=last_ms))

    def _judge(self, key: Key, rows: Columns, spans_ms: Ints, open_ms: int = EVER_MS) -> None:
        """Rows of some stretches, but for those that ``again.py`` goes over by itself."""
        now = inside(rows.times_ms, spans_ms) & (rows.times_ms < open_ms) & (rows.arrivals != Arrival.WAITING)
        self._judging.judge(key, picked(rows, now), self._plan, self.events)

    def _judge_kept(self, key: Key, spans_ms: Ints) -> None:
        """Rows that were held and are kept."""
        if len(spans_ms):
            self._judge(key, self._store.past.kept(*key, int(spans_ms[0, 0]), int(spans_ms[-1, 1]) + 1), spans_ms)

    def _close(self, key: Key, held: Unjudged) -> None:
        """Judge what was held, and end what stands; partners of derived values may have come since."""
        source = (key[0], OTHER[key[1]]) if key[1] in OTHER else key
        if source != key and len(held.spans_ms) and derives(*source, self._plan):
            start_ms, end_ms = int(held.spans_ms[0, 0]), int(held.spans_ms[-1, 1]) + 1
            rows = self._store.past.kept(*source, start_ms, end_ms)
            PastDerived(self._store, self._plan, {}, self._store.readings.channels()).of(source, rows, start_ms, end_ms)
        self._judge_kept(key, held.spans_ms)
        self._judging.end(key, self._plan, self.events)

    def end(self) -> bool:
        """The file is over: judge and end one channel after the other; False while there is more for another piece."""
        left = ROWS
        for key, one in list(self.rows.items()):
            if one.last_ms == NEVER_MS:
                continue
            if one.at_end:
                left = self._in_order(key, left)
                if len(self.rows[key].spans_ms):
                    self.save()
                    return False
            self._close(key, self.rows[key])
            self._put(key, replace(self.rows[key], spans_ms=NONE, last_ms=NEVER_MS))
        self.rows = {}
        return True

    def _in_order(self, key: Key, left: int) -> int:
        """Judge what is left of so many rows of a channel that was kept newest first; what is left after them."""
        one, unjudged = self.rows[key], self._store.past.unjudged
        spans_ms = union(one.spans_ms)
        if len(spans_ms) < len(one.spans_ms):
            unjudged.put(self._job, *key, replace(one, spans_ms=spans_ms))
        if self._judging.goes_back(key, int(spans_ms[0, 0]), self._plan):
            self._judging.end(key, self._plan, self.events)
        while len(spans_ms) and left > 0:
            rows = self._store.past.kept(*key, int(spans_ms[0, 0]), int(spans_ms[-1, 1]) + 1, ROWS)
            self._judge(key, rows, spans_ms)
            up_to_ms = int(rows.times_ms[-1]) + 1 if len(rows.times_ms) == ROWS else EVER_MS
            spans_ms, left = clipped(spans_ms, up_to_ms, EVER_MS), left - len(rows.times_ms)
            unjudged.judged(self._job, *key, up_to_ms)
        self._put(key, replace(one, spans_ms=spans_ms))
        self._fresh[key] = [NONE]
        return left
