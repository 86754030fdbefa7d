"""One window of recorded readings kept in the writer: checked among what is kept around it, derived, stored, judged.

A window holds channels that lean on each other (a tank's), over one stretch of time. Must not do: wait, or take a
reading that is still news (``ingest.py``).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from api.domain.quantity import Quantity
from api.domain.reading import Flag, KeptReading
from api.judge.check_windows import in_ms
from api.services.ingest import Ingest
from api.services.leaning import derives
from api.services.partners import PRESSURE_AGE_MS, ROOM, TEMPERATURE_AGE_MS, place_of
from api.services.past_checks import Around, Found, around, found, said, said_kept
from api.services.past_derived import Derived, PastDerived, leaning
from api.services.past_held import EVER_MS, Held
from api.services.past_judging import PastJudging
from api.services.past_rows import Given, Key, Tally
from api.services.past_tails import Tails
from api.services.plan import RoomPlan
from api.services.station import company_reach_ms
from api.storage.base import DERIVED, LATE, Channel, Revision, Store
from api.storage.past_base import picked
from api.storage.unjudged_base import NEVER_MS, Unjudged


@dataclass(frozen=True, slots=True)
class Window:
    """``parts``: rows of each channel. ``taken``: from when to when the whole take has rows of a channel.

    ``reach_ms``: how far beyond the window derived values may become others. ``falling``: channels whose rows run
    newest first.
    """

    parts: Mapping[Key, Given]
    taken: Mapping[Key, tuple[int, int]]
    reach_ms: int
    falling: frozenset[Key] = frozenset()

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


@dataclass(slots=True)
class Done:
    """What became of windows; of all windows of the import so far, what is still to be judged."""

    tally: Tally = field(default_factory=Tally)
    held: Mapping[Key, Unjudged] = field(default_factory=dict)


class PastWindows:
    """The work of ``KeepPast`` in the writer; ``job``: the import it is done for."""

    def __init__(self, store: Store, ingest: Ingest, plan: Callable[[], RoomPlan]) -> None:
        self._store, self._ingest, self._plan = store, ingest, plan
        self._judging = PastJudging(store, ingest.judging)
        self._tails = Tails(store)
        self._channels: list[Channel] = []
        self.job = 0

    def begin(self, job: int) -> Done:
        """Go on with an import, or begin it."""
        self.job = job
        held = self._store.past.unjudged.of(job)
        self._tails.forget()
        for key, one in held.items():
            self._judging.changes.go_on(key, one.changes_ms)
        return Done(held=held)

    def keep(self, windows: Sequence[Window], before: Done, now_ms: int) -> Done:
        """Keep windows in one transaction."""
        self._ingest.begin()
        self._channels = self._store.readings.channels()
        tally, held = Tally(), self._held(before)
        for window in windows:
            self._one(window, tally, held, now_ms)
        held.save()
        self._ingest.finish(held.events, now_ms)
        return Done(tally, held.rows)

    def end(self, before: Done, now_ms: int) -> Done:
        """Nothing more of these channels will come: judge a piece of what was held, and end what stands."""
        self._ingest.begin()
        self._tails.forget()
        held = self._held(before)
        if held.end():
            for key, one in before.held.items():
                next_ms = self._store.past.after(*key, one.newest_ms + 1) if one.newest_ms != NEVER_MS else None
                if next_ms is not None:  # however late, it says how long the silence before it was
                    self._store.revisions.wait(*key, LATE, next_ms, next_ms + 1, now_ms)
            self._store.past.unjudged.drop(self.job)
        self._ingest.finish(held.events, now_ms)
        return Done(held=held.rows)

    def _held(self, before: Done) -> Held:
        return Held(self._store, self._judging, self._plan(), self.job, before.held)

    def _one(self, window: Window, tally: Tally, held: Held, now_ms: int) -> None:
        plan = self._plan()
        founds = self._found(window, plan, tally)
        if not founds:
            return
        for key, one in founds.items():
            self._write(one)
            held.came(key, int(one.rows.times_ms[one.new][-1]))
        self._know(founds)
        self._those_beside(window, founds, plan, now_ms)
        made = self._derive(window, founds, plan, now_ms)
        self._remember(founds, made, plan)
        self._judge(window, founds, made, plan, held)

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
            if other.newest_ms is not None:
                self._ingest.station.past_derived(one.key, other.key, other.newest_ms)

    def _judge(
        self, window: Window, founds: Mapping[Key, Found], made: list[tuple[Found, Derived]], plan: RoomPlan, held: Held
    ) -> None:
        """Judge what is settled; the newest rows wait for what follows them, a file that falls for its end."""
        open_ms = min((one.open_ms for one in founds.values() if one.open_ms is not None), default=EVER_MS)
        for key, one in founds.items():
            held.take(key, one.rows, one.new, open_ms, falling=key in window.falling)
        # What comes after a reading can still be the nearest partner of what is derived from it.
        has_air = any(plan.measures(probe, Quantity.PRESSURE) for probe in plan.probes)
        open_ms = min(open_ms, window.end_ms - (PRESSURE_AGE_MS if has_air else TEMPERATURE_AGE_MS))
        for one, other in made:
            if plan.channel(*other.key).care is not None:
                new = one.new[np.searchsorted(one.rows.times_ms, other.rows.times_ms)]
                held.take(other.key, other.rows, new, open_ms, falling=one.key in window.falling)
