"""What is derived from a window's oxygen, and from kept oxygen beside it whose partners are new.

Must not do: derive by itself (``derive_many.py``), or put anything in the place of what a probe said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from api.domain.quantity import Quantity
from api.domain.reading import Arrival, Flag
from api.science.arrays import Bools, Flags, Floats, Ints
from api.services.derive import OTHER
from api.services.derive_many import Chosen, Told, choose_many, derive_many
from api.services.leaning import derives, water
from api.services.partners import PRESSURE_AGE_MS, ROOM, TEMPERATURE_AGE_MS, place_of
from api.services.past_checks import Found
from api.services.past_rows import Key
from api.services.plan import RoomPlan
from api.storage.base import Channel, Store
from api.storage.past_base import Columns, part, picked

SERVE = (Quantity.TEMPERATURE, Quantity.PRESSURE)
SAME = 1e-12
"""Python's and NumPy's functions differ in the last bit: no reason to write a kept value anew."""


@dataclass(frozen=True, slots=True)
class Derived:
    """The other quantity of a channel's rows; ``new`` marks those not kept yet, ``changed`` those kept otherwise.

    ``learnt`` are those changed whose value could not be had, or used, before.
    """

    key: Key
    rows: Columns
    new: Bools
    changed: Bools
    learnt: Bools

    @property
    def newest_ms(self) -> int | None:
        """The newest of both; None where there is neither."""
        times_ms = self.rows.times_ms[self.new | self.changed]
        return int(times_ms[-1]) if len(times_ms) else None


class PastDerived:
    """Derives for one piece of work in the writer; ``exact``: to the last bit as the line does, and slower."""

    def __init__(
        self,
        store: Store,
        plan: RoomPlan,
        founds: Mapping[Key, Found],
        channels: Sequence[Channel],
        *,
        exact: bool = False,
    ) -> None:
        self._store, self._plan, self._founds, self._exact = store, plan, founds, exact
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
        beside = warmth or _none(rows), air, water(None, channel, self._plan)
        made = derive_many(probe, quantity, rows, *beside, exact=self._exact)
        found = self._beside_kept((probe, OTHER[quantity]), made)
        self._store.past.add(*found.key, picked(found.rows, found.new), derived=True)
        self._store.past.put(*found.key, picked(found.rows, found.changed))
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
        changed = np.zeros(len(made.times_ms), dtype=bool)
        if not len(made.times_ms):
            return Derived(key, made, changed, changed, changed)
        kept = self._store.past.kept(*key, int(made.times_ms[0]), int(made.times_ms[-1]) + 1)
        waits = made.arrivals == Arrival.WAITING
        if not len(kept.times_ms):
            return Derived(key, made, ~waits, changed, changed)
        at = np.minimum(np.searchsorted(kept.times_ms, made.times_ms), len(kept.times_ms) - 1)
        known = kept.times_ms[at] == made.times_ms
        ours = known & ~waits & (kept.raws[at] == made.raws) & (kept.arrivals[at] != Arrival.WAITING)
        places = np.flatnonzero(ours)
        changed[places] = _differ(made, places, kept, at[places])
        learnt = changed & usable(made.values, made.flags) & ~usable(kept.values, kept.flags)[at]
        return Derived(key, made, ~known & ~waits, changed, learnt)


def leaning(channels: Sequence[Channel], place: str, plan: RoomPlan) -> list[Key]:
    """Channels that other quantities are derived from with the partners of a place."""
    found = [(one.probe, one.quantity) for one in channels if not one.derived and one.quantity in OTHER]
    found = [key for key in found if derives(*key, plan)]
    if place == ROOM:
        return found
    return [key for key in found if (tank := plan.channel(*key).tank) is not None and tank.id == place]


def usable(values: Floats, flags: Flags) -> Bools:
    """Which values can be judged."""
    found: Bools = np.isfinite(values) & (flags <= Flag.SUSPECT)
    return found


def _none(rows: Columns) -> Chosen:
    count = len(rows.times_ms)
    return Chosen(np.full(count, np.nan), np.full(count, int(Flag.MISSING), np.int8))


def _differ(made: Columns, places: Ints, kept: Columns, at: Ints) -> Bools:
    """Whether rows are otherwise than those kept of their moments; not by the unit of what the probe said."""
    now, was = made.values[places], kept.values[at]
    close = np.abs(now - was) <= SAME * np.maximum(1.0, np.abs(was))
    differ: Bools = ~(close | (np.isnan(now) & np.isnan(was)))
    differ |= (made.flags[places] != kept.flags[at]) | (made.arrivals[places] != kept.arrivals[at])
    if made.reasons or kept.reasons:
        same = zip(places.tolist(), at.tolist(), strict=True)
        differ |= np.array([made.reasons.get(one, "") != kept.reasons.get(other, "") for one, other in same], bool)
    if not (isinstance(made.units, str) and made.units == kept.units):
        same = zip(places.tolist(), at.tolist(), strict=True)
        differ &= np.array([made.unit(one) == kept.unit(other) for one, other in same], bool)
    return differ
