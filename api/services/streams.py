"""Each channel's running quality checks: begun from kept readings, gone on with reading by reading.

What a failed transaction did to a stream cannot be undone, so such a stream is dropped and begun anew from the store.
Must not do: check by itself (``api/judge``), or keep flags.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from math import inf

from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag
from api.judge.check_seed import seed
from api.judge.check_stream import Step, Stream
from api.judge.quality import gross_range
from api.services.memory import Layered
from api.services.plan import ChannelPlan
from api.storage.base import Store

Key = tuple[str, Quantity]
MOST_COMPANY = 256
"""Readings remembered of a probe that keeps another company: more than one pack brings of one channel."""
MOST_PAST = 20_000
"""Readings a stream is begun with at most."""


class Streams:
    """The streams of all channels that readings come from."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._running: dict[Key, tuple[Stream, ChannelPlan]] = {}
        self._job: set[Key] = set()
        self._batch: set[Key] = set()
        self._company: Layered[Key, tuple[tuple[int, float], ...]] = Layered()

    def begin(self) -> None:
        """A new pack; what an earlier pack left half done is dropped."""
        self._forget(self._job)
        self._company.begin()

    def done(self) -> None:
        """The pack's work succeeded."""
        self._batch |= self._job
        self._job.clear()
        self._company.done()

    def settle(self, kept: bool) -> None:
        """The transaction ended."""
        if kept:
            self._batch.clear()
        else:
            self._forget(self._batch)
            self._forget(self._job)
        self._company.settle(kept)

    def _forget(self, keys: set[Key]) -> None:
        for key in keys:
            self._running.pop(key, None)
        keys.clear()

    def drop(self, keys: Sequence[Key]) -> None:
        """Begin these anew at their next reading: their past has changed."""
        for key in keys:
            self._running.pop(key, None)

    def step(self, reading: CheckedReading, channel: ChannelPlan) -> Step:
        """Check a reading that is newer than all of its channel."""
        key = (reading.probe, reading.quantity)
        running = self._running.get(key)
        if running is None or running[1] is not channel:
            running = self._running[key] = (self._begun(key, channel, reading.time_ms), channel)
        self._job.add(key)
        company = self._company_of(reading, channel) if channel.company else None
        return running[0].step(reading.time_ms, reading.value, reading.flag, reading.reason, company)

    def hear(self, reading: CheckedReading) -> None:
        """Note what a probe says before the one beside it is checked: they often speak at the same moment."""
        if reading.value is not None and gross_range(reading.quantity, reading.value)[0] < Flag.FAIL:
            key = (reading.probe, reading.quantity)
            known = (self._company.get(key) or ())[-MOST_COMPANY:]
            if not known or known[-1][0] < reading.time_ms:
                self._company.put(key, (*known, (reading.time_ms, reading.value)))

    def _company_of(self, reading: CheckedReading, channel: ChannelPlan) -> tuple[int, float] | None:
        """The newest value of another probe of this quantity in the tank."""
        near: tuple[int, float] | None = None
        for probe in channel.company:
            for one in reversed(self._company.get((probe, reading.quantity)) or ()):
                if one[0] <= reading.time_ms:
                    near = one if near is None or one > near else near
                    break
        return near

    def _begun(self, key: Key, channel: ChannelPlan, time_ms: int) -> Stream:
        newest = self._store.revisions.newest(*key, time_ms, 1)
        start_ms = (newest[0].time_ms if newest else time_ms) - round(channel.limits.past_s * 1000)
        past = [
            *self._store.revisions.newest(*key, start_ms, 1),
            *self._store.revisions.rows(*key, start_ms, time_ms)[-MOST_PAST:],
        ]
        company = self._past_company(key[1], channel, start_ms, time_ms)
        places = [bisect_right(company, (one.time_ms, inf)) - 1 for one in past]
        return seed(
            Stream(channel.limits, key[1]),
            [one.time_ms for one in past],
            [one.value for one in past],
            [one.flag for one in past],
            companies=[company[place] if place >= 0 else None for place in places] if company else None,
        )

    def _past_company(
        self, quantity: Quantity, channel: ChannelPlan, start_ms: int, end_ms: int
    ) -> list[tuple[int, float]]:
        """What the probes beside this one said in its past."""
        reach_ms = round((channel.limits.company_age_s or 0.0) * 1000)
        return sorted(
            (row.time_ms, row.value)
            for other in channel.company
            for row in self._store.revisions.rows(other, quantity, start_ms - reach_ms, end_ms)
            if row.value is not None and row.flag <= Flag.SUSPECT
        )
