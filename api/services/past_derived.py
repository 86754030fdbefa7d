"""What is derived from a window's oxygen, and from kept oxygen beside it whose partners are new.

Must not do: derive by itself (``derive_many.py``), or put anything in the place of what a probe said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from api.domain.quantity import Quantity
from api.domain.reading import Arrival, Flag, KeptReading
from api.services.derive import OTHER
from api.services.derive_many import Chosen, Told, choose_many, derive_many
from api.services.leaning import derives, water
from api.services.partners import PRESSURE_AGE_MS, ROOM, TEMPERATURE_AGE_MS, place_of
from api.services.past_checks import Found, row
from api.services.past_rows import Key
from api.services.plan import RoomPlan
from api.storage.base import Channel, Store
from api.storage.past_base import Columns, part, picked

SERVE = (Quantity.TEMPERATURE, Quantity.PRESSURE)
SAME = 1e-12
"""Python's and NumPy's functions differ in the last bit: no reason to write a kept value anew."""


@dataclass(frozen=True, slots=True)
class Derived:
    """The other quantity of a channel's rows; ``new`` marks those not kept yet, ``changed`` those kept otherwise."""

    key: Key
    rows: Columns
    new: NDArray[np.bool_]
    changed: list[KeptReading]


class PastDerived:
    """Derives for one piece of work in the writer."""

    def __init__(self, store: Store, plan: RoomPlan, founds: Mapping[Key, Found], channels: Sequence[Channel]) -> None:
        self._store, self._plan, self._founds = store, plan, founds
        keys = [(one.probe, one.quantity) for one in channels if not one.derived and one.quantity in SERVE]
        self._places = [(key, place_of(*key, plan)) for key in keys]

    def of(self, key: Key, rows: Columns, start_ms: int, end_ms: int) -> Derived:
        """The rows of a channel from start (inside) to end (outside) in their other quantity; they are kept so."""
        probe, quantity = key
        channel = self._plan.channel(probe, quantity)
        first, last = np.searchsorted(rows.times_ms, (start_ms, end_ms)).tolist()
        rows = part(rows, first, last)
        tank = channel.tank.id if channel.tank is not None else ""
        warmth = self._chosen(tank, probe, rows, TEMPERATURE_AGE_MS)
        air = self._chosen(ROOM, "", rows, PRESSURE_AGE_MS)
        made = derive_many(probe, quantity, rows, warmth or _none(rows), air, water(None, channel, self._plan))
        found = self._beside_kept((probe, OTHER[quantity]), made)
        self._store.past.add(*found.key, picked(found.rows, found.new), derived=True)
        self._store.revisions.rederive(*found.key, found.changed)
        return found

    def _chosen(self, place: str, probe: str, rows: Columns, age_ms: int) -> Chosen | None:
        """Each row's partner; None where the place has no channel that could be one."""
        if not len(rows.times_ms):
            return None
        start_ms, end_ms = int(rows.times_ms[0]) - age_ms, int(rows.times_ms[-1]) + age_ms + 1
        told = [self._told(key, start_ms, end_ms, air=place == ROOM) for key, where in self._places if where == place]
        told = [one for one in told if len(one.times_ms)]
        return choose_many(told, probe, rows.times_ms, age_ms) if told else None

    def _told(self, key: Key, start_ms: int, end_ms: int, *, air: bool) -> Told:
        """What a channel said in a span that may serve; a suspect pressure does not."""
        found = self._founds.get(key)
        rows = found.rows if found is not None else self._store.past.kept(*key, start_ms, end_ms)
        first, last = np.searchsorted(rows.times_ms, (start_ms, end_ms)).tolist()
        rows = part(rows, first, last)
        serves = np.isfinite(rows.values) & (rows.flags <= (Flag.NOT_EVALUATED if air else Flag.SUSPECT))
        return Told(key[0], rows.times_ms[serves], rows.values[serves], rows.flags[serves])

    def _beside_kept(self, key: Key, made: Columns) -> Derived:
        """What is made beside what is kept of it; rows that wait for ``again.py`` are left to it."""
        if not len(made.times_ms):
            return Derived(key, made, np.zeros(0, dtype=bool), [])
        kept = self._store.past.kept(*key, int(made.times_ms[0]), int(made.times_ms[-1]) + 1)
        waits = made.arrivals == Arrival.WAITING
        if not len(kept.times_ms):
            return Derived(key, made, ~waits, [])
        at = np.minimum(np.searchsorted(kept.times_ms, made.times_ms), len(kept.times_ms) - 1)
        known = kept.times_ms[at] == made.times_ms
        changed = []
        for place in np.flatnonzero(known & ~waits).tolist():
            is_now, was = row(made, place), row(kept, int(at[place]))
            ours = (was.raw_value, was.raw_unit) == (is_now.raw_value, is_now.raw_unit)
            if ours and was.arrival is not Arrival.WAITING and _differ(is_now, was):
                changed.append(is_now)
        return Derived(key, made, ~known & ~waits, changed)


def leaning(channels: Sequence[Channel], place: str, plan: RoomPlan) -> list[Key]:
    """Channels that other quantities are derived from with the partners of a place."""
    found = [(one.probe, one.quantity) for one in channels if not one.derived and one.quantity in OTHER]
    found = [key for key in found if derives(*key, plan)]
    if place == ROOM:
        return found
    return [key for key in found if (tank := plan.channel(*key).tank) is not None and tank.id == place]


def _none(rows: Columns) -> Chosen:
    count = len(rows.times_ms)
    return Chosen(np.full(count, np.nan), np.full(count, int(Flag.MISSING), np.int8))


def _differ(now: KeptReading, was: KeptReading) -> bool:
    if now.value is None or was.value is None:
        return now != was
    close = abs(now.value - was.value) <= SAME * max(1.0, abs(was.value))
    return not close or replace(now, value=was.value) != was
