"""A span of kept readings made anew from what the probe said: values, flags by the batch checks, derived values.

The same rules as the line's, over arrays instead of one by one. Must not do: write.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag, KeptReading
from api.judge.check_batch import check
from api.services.company import Company, age_ms
from api.services.convert import converted
from api.services.derive import OTHER, derive
from api.services.leaning import derives, water
from api.services.partners import (
    PRESSURE_AGE_MS,
    ROOM,
    TEMPERATURE_AGE_MS,
    Partner,
    choose,
    partners_of,
    place_of,
)
from api.services.plan import ChannelPlan, RoomPlan
from api.storage.base import Channel, Store

Key = tuple[str, Quantity]


class Past:
    """Answers what kept readings would be if they came now."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._company = Company(store)

    def anew(
        self, probe: str, quantity: Quantity, rows: Sequence[KeptReading], channel: ChannelPlan, plan: RoomPlan
    ) -> list[KeptReading]:
        """The rows with value, flag and reason made from raw and from the readings around them."""
        before, after = self._around(probe, quantity, rows, channel)
        whole = [*before, *rows, *after]
        made = [converted(quantity, row.raw_value, row.raw_unit, row.time_ms, channel) for row in whole]
        company = self._company_of(channel, quantity, whole[0].time_ms, whole[-1].time_ms, plan)
        found = check(
            np.array([row.time_ms for row in whole], np.int64),
            np.array([np.nan if value is None else value for value, _, _ in made], np.float64),
            channel.limits,
            quantity,
            base_flags=np.array([int(flag) for _, flag, _ in made], np.int8),
            base_reasons=[reason for _, _, reason in made],
            company_times_ms=company[0],
            company_values=company[1],
            known_failed=np.array([i < len(before) and row.flag is Flag.FAIL for i, row in enumerate(whole)], bool),
        )
        return [
            replace(
                row,
                value=made[place][0],
                flag=(flag := Flag(int(found.flags[place]))),
                reason="" if flag is Flag.GOOD else found.reason(place),
            )
            for place, row in enumerate(rows, len(before))
        ]

    def _around(
        self, probe: str, quantity: Quantity, rows: Sequence[KeptReading], channel: ChannelPlan
    ) -> tuple[list[KeptReading], list[KeptReading]]:
        """What the checks of rows look back at, and the neighbours after them, which may not all be believed."""
        store, first_ms, last_ms = self._store.revisions, rows[0].time_ms, rows[-1].time_ms
        start_ms = first_ms - round(channel.limits.past_s * 1000)
        gap_end_ms = last_ms + round((channel.limits.gap_s or 0.0) * 1000) + 1
        before = [*store.newest(probe, quantity, start_ms, 1), *store.rows(probe, quantity, start_ms, first_ms)]
        after = store.rows(probe, quantity, last_ms + 1, gap_end_ms)
        return before, [*after, *store.rows(probe, quantity, gap_end_ms, 2**62, 1)]

    def _company_of(
        self, channel: ChannelPlan, quantity: Quantity, first_ms: int, last_ms: int, plan: RoomPlan
    ) -> tuple[np.ndarray | None, np.ndarray | None]:
        if not channel.company:
            return None, None
        pairs = self._company.past(quantity, channel, first_ms - age_ms(channel), last_ms + 1, plan)
        return np.array([t for t, _ in pairs], np.int64), np.array([v for _, v in pairs], np.float64)

    def derived(
        self, probe: str, quantity: Quantity, rows: Sequence[KeptReading], plan: RoomPlan
    ) -> tuple[Quantity, list[KeptReading]] | None:
        """The rows' oxygen in its other quantity; None where nothing is derived."""
        channel = plan.channel(probe, quantity)
        if channel.tank is None or not derives(probe, quantity, plan):
            return None
        first_ms, last_ms = rows[0].time_ms, rows[-1].time_ms
        warmth = self._partners(channel.tank.id, first_ms, last_ms, TEMPERATURE_AGE_MS, plan)
        air = self._partners(ROOM, first_ms, last_ms, PRESSURE_AGE_MS, plan)
        out = []
        for row in rows:
            reading = CheckedReading(
                probe, quantity, row.time_ms, row.raw_value, row.raw_unit, row.value, row.flag, row.reason
            )
            pressure = air.near(row.time_ms, "", PRESSURE_AGE_MS)
            found = derive(reading, warmth.near(row.time_ms, probe, TEMPERATURE_AGE_MS), water(pressure, channel, plan))
            out.append(replace(row, value=found.value, flag=found.flag, reason=found.reason))
        return OTHER[quantity], out

    def _partners(self, place: str, first_ms: int, last_ms: int, age_ms: int, plan: RoomPlan) -> Timeline:
        found = [
            partner
            for one in self._store.readings.channels()
            if not one.derived and place_of(one.probe, one.quantity, plan) == place
            for partner in partners_of(
                one.probe,
                one.quantity,
                self._store.revisions.rows(one.probe, one.quantity, first_ms - age_ms, last_ms + age_ms + 1),
            )
        ]
        return Timeline(sorted(found, key=lambda one: one.time_ms))

    def leaning_on(self, probe: str, quantity: Quantity, plan: RoomPlan) -> list[Key]:
        """The channels whose derived values are made with this one."""
        place = place_of(probe, quantity, plan)
        if place is None:
            return []
        return [
            (one.probe, one.quantity)
            for one in self._store.readings.channels()
            if not one.derived and derives(one.probe, one.quantity, plan)
            if place == ROOM or _tank_of(one, plan) == place
        ]

    def reach_ms(self, quantity: Quantity) -> int:
        """How far from it in time a partner serves."""
        return PRESSURE_AGE_MS if quantity is Quantity.PRESSURE else TEMPERATURE_AGE_MS

    def told(self, channel: ChannelPlan, first_ms: int, last_ms: int) -> Callable[[int], bool]:
        """Whether an alert of this channel already stood at a time, told when it was news."""
        spans = self.stood(channel, first_ms, last_ms)
        return lambda time_ms: any(start <= time_ms and (end is None or time_ms <= end) for start, end in spans)

    def stood(self, channel: ChannelPlan, first_ms: int, last_ms: int) -> list[tuple[int, int | None]]:
        """When alerts of this channel stood in a span (None: still standing)."""
        subjects = (channel.not_known, *(subject for subject, _ in channel.kinds))
        return [span for one in subjects for span in self._store.state.stood(one.key, first_ms, last_ms + 1)]


def _tank_of(channel: Channel, plan: RoomPlan) -> str | None:
    tank = plan.channel(channel.probe, channel.quantity).tank
    return tank.id if tank is not None else None


def of_the_past(channel: ChannelPlan) -> ChannelPlan:
    """A channel's plan whose alerts are of a time that is over."""
    kinds = tuple((replace(subject, past=True), side) for subject, side in channel.kinds)
    return replace(channel, not_known=replace(channel.not_known, past=True), kinds=kinds)


class Timeline:
    """Partners in the order of time, asked for the nearest one."""

    def __init__(self, partners: Sequence[Partner]) -> None:
        self._partners = partners
        self._times = [one.time_ms for one in partners]

    def near(self, time_ms: int, probe: str, age_ms: int) -> Partner | None:
        """The partner the line would have chosen."""
        place = bisect_right(self._times, time_ms)
        start = bisect_left(self._times, self._times[place - 1]) if place else 0
        close = choose(self._partners[start : place + 1], time_ms, probe, age_ms)
        if close is not None and close.flag < Flag.SUSPECT and close.time_ms <= time_ms:
            return close
        first = bisect_right(self._times, time_ms - age_ms - 1)
        last = bisect_right(self._times, time_ms + age_ms)
        return choose(self._partners[first:last], time_ms, probe, age_ms)
