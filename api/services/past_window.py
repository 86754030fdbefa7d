"""One window of recorded readings kept in the writer: checked among what is kept around it, derived, stored, judged.

A window holds channels that lean on each other (a tank's), over one stretch of time. Must not do: wait, or take a
reading that is still news (``ingest.py``).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from api.domain.alert import AlertEvent
from api.domain.quantity import Quantity
from api.domain.reading import Flag, KeptReading
from api.judge.check_windows import in_ms
from api.science.arrays import Ints
from api.services.derive import OTHER
from api.services.ingest import Ingest
from api.services.leaning import derives
from api.services.partners import PRESSURE_AGE_MS, ROOM, TEMPERATURE_AGE_MS, place_of
from api.services.past_checks import Around, Found, around, found, said, said_kept
from api.services.past_derived import Derived, PastDerived, leaning
from api.services.past_judging import PastJudging
from api.services.past_rows import Given, Key, Tally
from api.services.past_tails import Tails
from api.services.plan import RoomPlan
from api.services.station import company_reach_ms
from api.storage.base import DERIVED, LATE, Channel, Revision, Store
from api.storage.past_base import Columns, picked

EVER_MS = 2**62


@dataclass(frozen=True, slots=True)
class Window:
    """``parts``: rows of each channel. ``taken``: from when to when the whole take has rows of a channel.

    ``reach_ms``: how far beyond the window derived values may become others.
    """

    parts: Mapping[Key, Given]
    taken: Mapping[Key, tuple[int, int]]
    reach_ms: int

    @property
    def start_ms(self) -> int:
        """The first reading."""
        return min(int(one.times_ms[0]) for one in self.parts.values())

    @property
    def end_ms(self) -> int:
        """Just after the last reading."""
        return max(int(one.times_ms[-1]) for one in self.parts.values()) + 1

    def made_ms(self, key: Key) -> tuple[int, int] | None:
        """From when to when a channel's derived values are made in the take; None where it has no rows in it."""
        span_ms = self.taken.get(key)
        return None if span_ms is None else (span_ms[0] - self.reach_ms, span_ms[1] + self.reach_ms)


@dataclass(frozen=True, slots=True)
class Held:
    """Rows of a channel that are judged when what follows them is known, and the last one taken."""

    times_ms: Ints
    last_ms: int


@dataclass(slots=True)
class Done:
    """What became of windows; of all windows so far, what is still to be judged, and each channel's last row."""

    tally: Tally = field(default_factory=Tally)
    held: dict[Key, Held] = field(default_factory=dict)
    last_ms: dict[Key, int] = field(default_factory=dict)


class PastWindows:
    """The work of ``KeepPast`` in the writer."""

    def __init__(self, store: Store, ingest: Ingest, plan: Callable[[], RoomPlan]) -> None:
        self._store, self._ingest, self._plan = store, ingest, plan
        self._judging = PastJudging(store, ingest.judging)
        self._tails = Tails(store)
        self._channels: list[Channel] = []

    def keep(self, windows: Sequence[Window], before: Done, now_ms: int) -> Done:
        """Keep windows in one transaction."""
        self._ingest.begin()
        self._channels = self._store.readings.channels()
        done, events = Done(held=dict(before.held), last_ms=dict(before.last_ms)), list[AlertEvent]()
        for window in windows:
            self._one(window, done, events, now_ms)
        self._ingest.finish(events, now_ms)
        return done

    def end(self, done: Done, now_ms: int) -> None:
        """Nothing more of these channels will come: judge what was held, and end what stands."""
        self._ingest.begin()
        self._tails.forget()
        events = list[AlertEvent]()
        for key, one in done.held.items():
            self._close(key, one, events)
        for key, last_ms in done.last_ms.items():
            next_ms = self._store.past.after(*key, last_ms + 1)
            if next_ms is not None:  # however late, it says how long the silence before it was
                self._store.revisions.wait(*key, LATE, next_ms, next_ms + 1, now_ms)
        self._ingest.finish(events, now_ms)

    def _one(self, window: Window, done: Done, events: list[AlertEvent], now_ms: int) -> None:
        plan = self._plan()
        founds = self._found(window, plan, done.tally)
        if not founds:
            return
        for key, one in founds.items():
            self._write(one)
            done.last_ms[key] = max(int(one.rows.times_ms[one.new][-1]), done.last_ms.get(key, 0))
        self._know(founds)
        self._those_beside(window, founds, plan, now_ms)
        made = self._derive(window, founds, plan, now_ms)
        self._remember(founds, made, plan)
        self._judge(window, founds, made, plan, done, events)

    def _found(self, window: Window, plan: RoomPlan, tally: Tally) -> dict[Key, Found]:
        """The channels in which anything is new, checked."""
        span = window.start_ms, window.end_ms
        reach_ms = window.reach_ms + TEMPERATURE_AGE_MS
        arounds: dict[Key, Around] = {}
        for key, given in window.parts.items():
            one = around(self._tails, key, plan.channel(*key), given, *span, reach_ms, tally)
            if one.new.any():
                arounds[key] = one
        return {key: found(one, self._company(one, arounds, plan)) for key, one in arounds.items()}

    def _company(
        self, one: Around, arounds: Mapping[Key, Around], plan: RoomPlan
    ) -> list[tuple[np.ndarray, np.ndarray]]:
        """What the probes beside a channel said."""
        told = []
        for probe in one.channel.company:
            key = (probe, one.key[1])
            if key in arounds:
                told.append(said(arounds[key]))
            else:
                start_ms = int(one.rows.times_ms[0]) - in_ms(one.channel.limits.company_age_s)
                told.append(said_kept(self._store, key, plan.channel(*key), start_ms, int(one.rows.times_ms[-1]) + 1))
        return told

    def _write(self, one: Found) -> None:
        """Keep what is new; change what has become otherwise."""
        fresh = picked(one.rows, one.new)
        self._store.past.add(*one.key, fresh, derived=False)
        newest_ms = int(one.rows.times_ms[-1])
        plain, others = list[KeptReading](), list[KeptReading]()
        for was, now in one.changes():
            same = was.value == now.value and max(was.flag, now.flag) < Flag.SUSPECT and now.time_ms < newest_ms
            (plain if same else others).append(now)
        self._store.revisions.revise([Revision(*one.key, now.time_ms, now.flag, now.reason) for now in plain])
        self._store.revisions.rewrite(*one.key, others)

    def _know(self, founds: Mapping[Key, Found]) -> None:
        """Channels that are new with a window."""
        known = {(one.probe, one.quantity) for one in self._channels}
        self._channels += [Channel(*key) for key in founds if key not in known]

    def _those_beside(self, window: Window, founds: Mapping[Key, Found], plan: RoomPlan, now_ms: int) -> None:
        """Kept readings outside of the window that may become otherwise are gone over by ``again.py``."""
        for one in founds.values():
            for other in one.channel.company:
                key = (other, one.key[1])
                if key not in founds:
                    end_ms = window.end_ms + company_reach_ms(plan.channel(*key))
                    self._wait(key, LATE, window.start_ms, end_ms, now_ms)
            if one.goes_on:
                start_ms = int(one.rows.times_ms[one.last])
                self._wait(one.key, LATE, start_ms, start_ms + round(one.channel.limits.past_s * 1000), now_ms)

    def _wait(self, key: Key, why: str, start_ms: int, end_ms: int, now_ms: int) -> None:
        """Have a span gone over, if anything is kept there."""
        first_ms = self._store.past.after(*key, start_ms) if start_ms < end_ms else None
        if first_ms is not None and first_ms < end_ms:
            self._store.revisions.wait(*key, why, start_ms, end_ms, now_ms)

    def _derive(
        self, window: Window, founds: Mapping[Key, Found], plan: RoomPlan, now_ms: int
    ) -> list[tuple[Found, Derived]]:
        """What is derived from the window's rows and from those kept beside them."""
        touched_ms = np.concatenate([one.rows.times_ms[one.new | one.changed] for one in founds.values()])
        near_ms, far_ms = touched_ms[touched_ms < window.end_ms], touched_ms[touched_ms >= window.end_ms]
        made_ms = int(near_ms.min()) - window.reach_ms, window.end_ms + window.reach_ms
        spans_ms = [(int(some.min()), int(some.max()) + 1) for some in (near_ms, far_ms) if len(some)]
        derived = PastDerived(self._store, plan, founds, self._channels)
        out = [(one, derived.of(key, one.rows, *made_ms)) for key, one in founds.items() if derives(*key, plan)]
        for one, _ in out:
            for start_ms, end_ms in spans_ms:
                self._wait(one.key, DERIVED, max(made_ms[1], start_ms), end_ms, now_ms)
        for place in {place_of(*key, plan): None for key in founds}:
            for key in leaning(self._channels, place, plan) if place is not None else ():
                age_ms = PRESSURE_AGE_MS if place == ROOM else TEMPERATURE_AGE_MS
                mine_ms = made_ms if key in founds else window.made_ms(key) if place == ROOM else None
                for start_ms, end_ms in spans_ms:
                    self._lean(key, (start_ms - age_ms, end_ms + age_ms), mine_ms, now_ms)
        return out

    def _lean(self, key: Key, span_ms: tuple[int, int], mine_ms: tuple[int, int] | None, now_ms: int) -> None:
        """Kept oxygen that leans on what is new is gone over, but for what this take makes anew itself."""
        start_ms, end_ms = span_ms
        if mine_ms is None:
            self._wait(key, DERIVED, start_ms, end_ms, now_ms)
        else:
            self._wait(key, DERIVED, start_ms, min(mine_ms[0], end_ms), now_ms)
            self._wait(key, DERIVED, max(mine_ms[1], start_ms), end_ms, now_ms)

    def _remember(self, founds: Mapping[Key, Found], made: list[tuple[Found, Derived]], plan: RoomPlan) -> None:
        """The line's memory of what is newest follows."""
        for key, one in founds.items():
            last_ms = int(one.rows.times_ms[one.new | one.changed][-1])
            self._ingest.station.past_kept(key, plan, last_ms, self._channels)
            self._tails.remember(key, one.rows, *one.span_ms)
        for one, other in made:
            times_ms = [*other.rows.times_ms[other.new][-1:].tolist(), *(row.time_ms for row in other.changed[-1:])]
            if times_ms:
                self._ingest.station.past_derived(one.key, other.key, max(times_ms))

    def _judge(
        self,
        window: Window,
        founds: Mapping[Key, Found],
        made: list[tuple[Found, Derived]],
        plan: RoomPlan,
        done: Done,
        events: list[AlertEvent],
    ) -> None:
        """Judge what is settled; the newest rows wait for what follows them."""
        open_ms = min((one.open_ms for one in founds.values() if one.open_ms is not None), default=EVER_MS)
        for key, one in founds.items():
            self._up_to(key, one.rows, one.new, open_ms, done, events)
        # What comes after a reading can still be the nearest partner of what is derived from it.
        has_air = any(plan.measures(probe, Quantity.PRESSURE) for probe in plan.probes)
        open_ms = min(open_ms, window.end_ms - (PRESSURE_AGE_MS if has_air else TEMPERATURE_AGE_MS))
        for one, other in made:
            if plan.channel(*other.key).care is not None:
                new = one.new[np.searchsorted(one.rows.times_ms, other.rows.times_ms)]
                self._up_to(other.key, other.rows, new, open_ms, done, events)

    def _up_to(
        self, key: Key, rows: Columns, new: np.ndarray, open_ms: int, done: Done, events: list[AlertEvent]
    ) -> None:
        """One channel's new rows, and those held before, up to a time."""
        if not new.any() or self._plan().channel(*key).tank is None:
            return
        first_ms, last_ms = (int(one) for one in rows.times_ms[new][[0, -1]])
        before = done.held.get(key)
        if before is not None and before.last_ms >= first_ms:
            self._close(key, before, events)
            before = None
        if before is None and self._judging.goes_back(key, first_ms, self._plan()):
            self._judging.end(key, self._plan(), events)
        times_ms = rows.times_ms[new]
        if before is not None:
            times_ms = np.concatenate((before.times_ms, times_ms))
            self._judge_kept(key, before.times_ms[before.times_ms < min(open_ms, int(rows.times_ms[0]))], events)
        now = (new if before is None else among(rows.times_ms, times_ms)) & (rows.times_ms < open_ms)
        self._judging.judge(key, picked(rows, now), self._plan(), events)
        done.held[key] = Held(times_ms[times_ms >= open_ms], last_ms)

    def _close(self, key: Key, held: Held, events: list[AlertEvent]) -> None:
        """Judge what was held, and end what stands; partners of derived values may have come since."""
        source = (key[0], OTHER[key[1]]) if key[1] in OTHER else key
        if source != key and len(held.times_ms) and derives(*source, self._plan()):
            start_ms, end_ms = int(held.times_ms[0]), int(held.times_ms[-1]) + 1
            rows = self._store.past.kept(*source, start_ms, end_ms)
            PastDerived(self._store, self._plan(), {}, self._store.readings.channels()).of(
                source, rows, start_ms, end_ms
            )
        self._judge_kept(key, held.times_ms, events)
        self._judging.end(key, self._plan(), events)

    def _judge_kept(self, key: Key, times_ms: Ints, events: list[AlertEvent]) -> None:
        """Judge rows that were held and are kept."""
        if len(times_ms):
            rows = self._store.past.kept(*key, int(times_ms[0]), int(times_ms[-1]) + 1)
            self._judging.judge(key, picked(rows, among(rows.times_ms, times_ms)), self._plan(), events)


def among(times_ms: Ints, some_ms: Ints) -> NDArray[np.bool_]:
    """Which times are among some, both rising."""
    if not len(some_ms):
        return np.zeros(len(times_ms), dtype=bool)
    found: NDArray[np.bool_] = some_ms[np.minimum(np.searchsorted(some_ms, times_ms), len(some_ms) - 1)] == times_ms
    return found
