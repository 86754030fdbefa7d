"""Kept readings judged as found late: those that came late, and derived values that could not be had before.

Runs in the writer. Must not do: page anyone for the past, or end what an import under way will go on with.
"""

from __future__ import annotations

from collections.abc import Sequence

from api.domain.alert import AlertEvent
from api.domain.reading import CheckedReading, KeptReading
from api.services.derive import OTHER
from api.services.judging import Judging
from api.services.past import Past, of_the_past
from api.services.past_derived import Derived
from api.services.past_judging import PastJudging
from api.services.past_rows import Key
from api.services.plan import RoomPlan
from api.storage.base import Store
from api.storage.past_base import picked


class AgainLate:
    """Judges for ``again.py``."""

    def __init__(self, store: Store, judging: Judging) -> None:
        self._store, self._judging, self._past = store, judging, Past(store)
        self._columns = PastJudging(store, judging)
        self.changes = self._columns.changes

    def judge(self, key: Key, rows: Sequence[KeptReading], plan: RoomPlan, events: list[AlertEvent]) -> None:
        """What came late, on its own time; what an alert told already is not told again."""
        channel = plan.channel(*key)
        if not rows or channel.tank is None:
            return
        told = self._past.told(channel, rows[0].time_ms, rows[-1].time_ms)
        past = of_the_past(channel)
        for row in rows:
            if not told(row.time_ms):
                then = plan.in_force(past, key[1], row.time_ms)
                self._judging.judge(_checked(key, row), then, True, events)

    def learnt(self, made: Derived, plan: RoomPlan, events: list[AlertEvent]) -> None:
        """Derived values that could not be had until their temperature, or pressure, came."""
        if not made.learnt.any() or plan.channel(*made.key).care is None:
            return
        rows = picked(made.rows, made.learnt)
        if self._columns.goes_back(made.key, int(rows.times_ms[0]), plan):
            self._columns.end(made.key, plan, events)
        self._columns.judge(made.key, rows, plan, events)

    def end(self, key: Key, plan: RoomPlan, events: list[AlertEvent], *, own: bool) -> None:
        """A span is over: what stands in the past of what is derived from it, and of its ``own``, has ended."""
        other = (key[0], OTHER.get(key[1], key[1]))
        for one in dict.fromkeys((key, other) if own else (other,)):
            if not self._store.past.unjudged.holds(*one):
                self._columns.end(one, plan, events)


def _checked(key: Key, row: KeptReading) -> CheckedReading:
    return CheckedReading(
        *key, row.time_ms, row.raw_value, row.raw_unit, row.value, row.flag, row.reason, arrival=row.arrival
    )
