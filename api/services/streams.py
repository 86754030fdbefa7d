"""Each channel's running quality checks: begun from kept readings, gone on with reading by reading.

What a failed transaction did to a stream cannot be undone, so such a stream is dropped and begun anew from the store.
Must not do: check by itself (``api/judge``), or keep flags.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from math import inf

from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading
from api.judge.check_seed import seed
from api.judge.check_stream import Company as Asked
from api.judge.check_stream import Step, Stream
from api.services.company import Company, age_ms
from api.services.convert import converted
from api.services.plan import ChannelPlan, RoomPlan
from api.storage.base import Store

Key = tuple[str, Quantity]
MOST_PAST = 20_000
"""Readings a stream is begun with at most."""


class Streams:
    """The streams of all channels that readings come from."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._running: dict[Key, tuple[Stream, ChannelPlan]] = {}
        self._job: set[Key] = set()
        self._batch: set[Key] = set()
        self._company = Company(store)
        self.hear = self._company.hear

    def begin(self) -> None:
        """A new pack; what an earlier pack left half done is dropped."""
        self._forget(self._job)
        self._company.begin()

    def done(self) -> None:
        """The pack's work succeeded."""
        self._batch |= self._job
        self._job.clear()

    def settle(self, kept: bool) -> None:
        """The transaction ended."""
        if kept:
            self._batch.clear()
        else:
            self._forget(self._batch)
            self._forget(self._job)

    def _forget(self, keys: set[Key]) -> None:
        for key in keys:
            self._running.pop(key, None)
        keys.clear()

    def drop(self, keys: Sequence[Key]) -> None:
        """Begin these anew at their next reading: their past has changed."""
        for key in keys:
            self._running.pop(key, None)

    def step(self, reading: CheckedReading, channel: ChannelPlan, plan: RoomPlan) -> Step:
        """Check a reading that is newer than all of its channel."""
        key = (reading.probe, reading.quantity)
        running = self._running.get(key)
        if running is None or (running[1] is not channel and _checks(running[1]) != _checks(channel)):
            running = self._running[key] = (self._begun(key, channel, reading.time_ms, plan), channel)
        elif running[1] is not channel:
            running = self._running[key] = (running[0], channel)
        self._job.add(key)
        asked: Asked | None = None
        if channel.company:
            asked = lambda time_ms: self._company.near(key[1], channel, time_ms, plan)  # noqa: E731 - one expression
        return running[0].step(reading.time_ms, reading.value, reading.flag, reading.reason, asked)

    def asked_company_since(self, key: Key, time_ms: int) -> bool:
        """Whether a channel may have been asked at or after a time whether it moved alone."""
        running = self._running.get(key)
        return running is None or running[0].quick_ms >= time_ms

    def _begun(self, key: Key, channel: ChannelPlan, time_ms: int, plan: RoomPlan) -> Stream:
        newest = self._store.revisions.newest(*key, time_ms, 1)
        start_ms = (newest[0].time_ms if newest else time_ms) - round(channel.limits.past_s * 1000)
        past = [
            *self._store.revisions.newest(*key, start_ms, 1),
            *self._store.revisions.rows(*key, start_ms, time_ms)[-MOST_PAST:],
        ]
        # From raw: a calibration entered just now is not yet worked into what is kept.
        made = [converted(key[1], one.raw_value, one.raw_unit, one.time_ms, channel) for one in past]
        return seed(
            Stream(channel.limits, key[1]),
            [one.time_ms for one in past],
            [value for value, _, _ in made],
            [one.flag for one in past],
            [(flag, reason) for _, flag, reason in made],
            self._past_company(key[1], channel, start_ms, time_ms, plan) if channel.company else None,
        )

    def _past_company(
        self, quantity: Quantity, channel: ChannelPlan, start_ms: int, end_ms: int, plan: RoomPlan
    ) -> Asked:
        """What the probes beside this one said in its past."""
        pairs = self._company.past(quantity, channel, start_ms - age_ms(channel), end_ms, plan)

        def near(time_ms: int) -> tuple[int, float] | None:
            place = bisect_right(pairs, (time_ms, inf))
            return pairs[place - 1] if place else None

        return near


def _checks(channel: ChannelPlan) -> tuple[object, ...]:
    """What a stream's past was made and checked with."""
    return channel.limits, channel.lines, channel.unit, channel.altitude_m, channel.company
