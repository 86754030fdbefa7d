"""Kept readings of which none waits to be judged gone over column by column: checked, and derived, anew.

To the last bit what ``past.py`` has reading by reading. Must not do: judge, or touch what a probe said.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from api.judge.check_windows import in_ms
from api.services.convert_many import convert_many
from api.services.leaning import derives
from api.services.past_checks import Around, found, said_kept
from api.services.past_derived import Derived, PastDerived
from api.services.past_rows import Key
from api.services.plan import RoomPlan
from api.storage.base import Store
from api.storage.past_base import Columns, part, picked


@dataclass(frozen=True, slots=True)
class Gone:
    """What a piece of a span has come to: times of the first and the last reading that changed, None: none did.

    ``derived``: what is derived from all of it, None: nothing is.
    """

    first_ms: int | None = None
    last_ms: int | None = None
    derived: Derived | None = None


class AgainColumns:
    """Works in the writer."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def go_over(self, key: Key, rows: Columns, plan: RoomPlan) -> Gone:
        """Values, flags and reasons of rows in a row anew, and what is derived from them."""
        beside = self._around(key, rows, plan)
        one = found(beside, self._company(beside, plan))
        times_ms = one.rows.times_ms[one.changed]
        self._store.past.put(*key, picked(one.rows, one.changed))
        first = int(np.searchsorted(one.rows.times_ms, rows.times_ms[0]))
        derived = self.derive(key, part(one.rows, first, one.last), plan)
        if not len(times_ms):
            return derived
        return Gone(int(times_ms[0]), int(times_ms[-1]), derived.derived)

    def derive(self, key: Key, rows: Columns, plan: RoomPlan) -> Gone:
        """What is derived from rows."""
        if not derives(*key, plan):
            return Gone()
        channels = self._store.readings.channels()
        start_ms, end_ms = int(rows.times_ms[0]), int(rows.times_ms[-1]) + 1
        return Gone(derived=PastDerived(self._store, plan, {}, channels, exact=True).of(key, rows, start_ms, end_ms))

    def _around(self, key: Key, rows: Columns, plan: RoomPlan) -> Around:
        """Rows among those kept around them that their checks look at, and one more at each end."""
        past, channel = self._store.past, plan.channel(*key)
        first_ms, last_ms = int(rows.times_ms[0]), int(rows.times_ms[-1])
        gap_ms = in_ms(channel.limits.gap_s) if channel.limits.gap_s else 0
        start_ms, end_ms = first_ms - round(channel.limits.past_s * 1000), last_ms + gap_ms + 1
        before, after = past.before(*key, start_ms), past.after(*key, end_ms)
        whole = past.kept(*key, start_ms if before is None else before, end_ms if after is None else after + 1)
        made = convert_many(key[1], whole.raws, whole.units, whole.times_ms, channel)
        first, last = np.searchsorted(whole.times_ms, (first_ms, last_ms + 1)).tolist()
        none = np.zeros(len(whole.times_ms), dtype=bool)
        return Around(key, channel, whole, made, none, first, last, (first_ms, last_ms))

    def _company(self, one: Around, plan: RoomPlan) -> list[tuple[np.ndarray, np.ndarray]]:
        """What the probes beside a channel said."""
        start_ms = int(one.rows.times_ms[0]) - in_ms(one.channel.limits.company_age_s)
        beside = [(probe, one.key[1]) for probe in one.channel.company]
        end_ms = int(one.rows.times_ms[-1]) + 1
        return [said_kept(self._store, other, plan.channel(*other), start_ms, end_ms) for other in beside]
