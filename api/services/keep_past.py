"""Recorded readings kept column by column: the same outcome as if each had been sent late, one by one, only quicker.

Short pieces of work in the writer, so that live readings never wait long. Doing the same rows again changes nothing.
Must not do: read files (``api/intake``), or hold back a reading that is still news.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial

import numpy as np

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.intake.block import Series
from api.services.derive import OTHER
from api.services.ingest import Ingest
from api.services.keeping import Kept, Note, no_note
from api.services.leaning import derives
from api.services.partners import PRESSURE_AGE_MS, TEMPERATURE_AGE_MS
from api.services.past_rows import Given, Key, Tally, gathered, sifted
from api.services.past_window import Done, PastWindows, Window
from api.services.plan import RoomPlan
from api.storage.base import Store

ROWS = 16_000
"""New readings in one piece of work."""
NEWS = 500
"""Readings that are still news are handed to the line in packs of so many."""


class KeepPast:
    """Takes blocks of a file, one after the other; ``finish`` after the last one."""

    def __init__(self, store: Store, ingest: Ingest, plan: Callable[[], RoomPlan], now_ms: Callable[[], int]) -> None:
        self._store, self._ingest, self._plan, self._now_ms = store, ingest, plan, now_ms
        self._windows = PastWindows(store, ingest, plan)
        self._done: Done | None = None

    def begin(self, job: int) -> None:
        """Go on with an import, or begin it: what of it is kept and not judged yet is known from then on."""
        self._done = self._windows.begin(job)

    def take(self, series: Sequence[Series], now_ms: int, note: Note = no_note) -> Kept:
        """Keep rows, in any order of time; ends when all of them are on disk.

        ``note`` hears in the writer, within the same transaction, how many readings each piece of the past has taken;
        of what is news, right after it was kept.

        Raises StoreUnavailable when they cannot be kept; some of them may be, and doing them again is harmless.
        """
        if self._done is None:
            self.begin(0)
        given, refused = gathered(series, now_ms)
        plan, tally = self._plan(), Tally()
        news_ms = now_ms - round(plan.settings.late_after_s * 1000)
        past = {key: rows for key, one in given.items() if len((rows := one.take(one.times_ms < news_ms)).times_ms)}
        news = {key: rows for key, one in given.items() if len((rows := one.take(one.times_ms >= news_ms)).times_ms)}
        for windows in _together(_windows(past, plan, falling(series))):
            work = partial(self._piece, windows, now_ms, note)
            done = self._done = self._store.write(work, self._ingest.settle).result()
            tally.add(done.tally)
        before = tally.accepted
        self._tell_news(news, tally, now_ms)
        if tally.accepted > before:
            self._store.write(lambda: note(tally.accepted - before)).result()
        return Kept(tally.accepted, tally.duplicate, tuple(tally.conflicts), tuple(refused))

    def _piece(self, windows: Sequence[Window], now_ms: int, note: Note) -> Done:
        """One piece of work, in the writer."""
        done = self._windows.keep(windows, self._done or Done(), now_ms)
        note(done.tally.accepted)
        return done

    def finish(self, goes_on: Callable[[], object] = lambda: None) -> None:
        """After the last block of a file: judge what waited for more, and end what stands at its end.

        ``goes_on`` hears of each piece of it. Kept readings beside the new ones that may have become otherwise are
        gone over by ``again.py`` by itself.
        """
        if self._done is None:
            self.begin(0)
        while (done := self._done) is not None and done.held:
            work = partial(self._windows.end, done, self._now_ms())
            self._done = self._store.write(work, self._ingest.settle).result()
            goes_on()
        self._done = None

    def _tell_news(self, given: Mapping[Key, Given], tally: Tally, now_ms: int) -> None:
        """What is not late yet goes the way of live readings."""
        raws: list[RawReading] = []
        compared = Tally()
        for key, one in given.items():
            kept = self._store.past.kept(*key, int(one.times_ms[0]), int(one.times_ms[-1]) + 1)
            fresh = sifted(key, one, kept, compared)
            raws += [
                RawReading(*key, time_ms, value, fresh.unit(place))
                for place, (time_ms, value) in enumerate(zip(fresh.times_ms.tolist(), fresh.raws.tolist(), strict=True))
            ]
        tally.duplicate += compared.duplicate
        tally.conflicts += compared.conflicts
        raws.sort(key=lambda raw: raw.time_ms)
        for start in range(0, len(raws), NEWS):
            outcome = self._ingest.accept(raws[start : start + NEWS], now_ms).result()
            tally.accepted += outcome.accepted
            tally.duplicate += outcome.duplicate


def _group_of(key: Key, plan: RoomPlan) -> str:
    """The group a channel is kept with: the room's air, a tank, or a probe nobody claimed."""
    if key[1] is Quantity.PRESSURE and key[0] in plan.probes:
        return ""
    tank = plan.channel(*key).tank
    return f"tank {tank.id}" if tank is not None else f"probe {key[0]}"


def _is_made(key: Key, plan: RoomPlan, keys: Sequence[Key]) -> bool:
    """Whether a channel is what is derived from another one of these."""
    source = OTHER.get(key[1])
    return source is not None and (key[0], source) in keys and derives(key[0], source, plan)


def falling(series: Sequence[Series]) -> frozenset[Key]:
    """Channels that a block has newest first; one it has a single moment of goes with the block as a whole."""
    ends: dict[Key, list[int]] = {}
    for one in series:
        if len(one.times_ms):
            ends.setdefault((one.probe, one.quantity), []).extend((int(one.times_ms[0]), int(one.times_ms[-1])))
    steps = {key: times_ms[-1] - times_ms[0] for key, times_ms in ends.items()}
    as_a_whole = sum(map(np.sign, steps.values())) < 0
    return frozenset(key for key, step in steps.items() if step < 0 or (not step and as_a_whole))


def _windows(given: Mapping[Key, Given], plan: RoomPlan, falls: frozenset[Key]) -> Iterator[Window]:
    """Windows in the order they have to be kept: the room's air first, what could be derived after all else."""
    taken = {key: (int(one.times_ms[0]), int(one.times_ms[-1]) + 1) for key, one in given.items()}
    groups: dict[tuple[bool, str], dict[Key, Given]] = {}
    for key, one in given.items():
        groups.setdefault((_is_made(key, plan, tuple(given)), _group_of(key, plan)), {})[key] = one
    air = any(key[1] is Quantity.PRESSURE for key in given)
    reach_ms = 2 * PRESSURE_AGE_MS if air else TEMPERATURE_AGE_MS
    for _, group in sorted(groups.items()):
        channels = sorted(group.items(), key=lambda one: one[0][1] is not Quantity.TEMPERATURE)
        for parts in _cut(dict(channels)):
            yield Window(parts, taken, reach_ms, falls)


def _cut(group: Mapping[Key, Given]) -> Iterator[dict[Key, Given]]:
    """A group's rows in stretches of time with so many rows at most, and all rows of one moment together."""
    times_ms = np.sort(np.concatenate([one.times_ms for one in group.values()]))
    starts_ms = np.unique(times_ms[::ROWS])
    for start_ms, end_ms in zip(starts_ms.tolist(), [*starts_ms[1:].tolist(), None], strict=True):
        parts = {}
        for key, one in group.items():
            first = int(np.searchsorted(one.times_ms, start_ms))
            last = len(one.times_ms) if end_ms is None else int(np.searchsorted(one.times_ms, end_ms))
            if first < last:
                parts[key] = one.take(slice(first, last))
        yield parts


def _together(windows: Iterator[Window]) -> Iterator[list[Window]]:
    """Small windows in one transaction."""
    some: list[Window] = []
    rows = 0
    for window in windows:
        count = sum(len(one.times_ms) for one in window.parts.values())
        if some and rows + count > ROWS:
            yield some
            some, rows = [], 0
        some.append(window)
        rows += count
    if some:
        yield some
