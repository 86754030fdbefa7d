"""A span of kept readings made anew from what the probe said: values, flags by the batch checks, derived values.

The same rules as the line's, over arrays instead of one by one. Must not do: write.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag, KeptReading
from api.judge.check_batch import check
from api.services.convert import converted
from api.services.derive import OTHER, Water, derive
from api.services.partners import PRESSURE_AGE_MS, TEMPERATURE_AGE_MS, Partner, choose
from api.services.plan import ChannelPlan, RoomPlan
from api.storage.base import Store

Key = tuple[str, Quantity]


class Past:
    """Answers what kept readings would be if they came now."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def anew(
        self, probe: str, quantity: Quantity, rows: Sequence[KeptReading], channel: ChannelPlan, plan: RoomPlan
    ) -> list[KeptReading]:
        """The rows with value, flag and reason made from raw and from the readings around them."""
        past_ms = round(channel.limits.past_s * 1000)
        before = self._store.revisions.rows(probe, quantity, rows[0].time_ms - past_ms, rows[0].time_ms)
        after = self._store.revisions.rows(probe, quantity, rows[-1].time_ms + 1, 2**62, 1)
        whole = [*before, *rows, *after]
        made = [converted(quantity, row.raw_value, row.raw_unit, row.time_ms, channel) for row in whole]
        company = self._company(channel, quantity, whole[0].time_ms, whole[-1].time_ms)
        found = check(
            np.array([row.time_ms for row in whole], np.int64),
            np.array([np.nan if value is None else value for value, _, _ in made], np.float64),
            channel.limits,
            quantity,
            base_flags=np.array([int(flag) for _, flag, _ in made], np.int8),
            base_reasons=[reason for _, _, reason in made],
            company_times_ms=company[0],
            company_values=company[1],
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

    def _company(
        self, channel: ChannelPlan, quantity: Quantity, first_ms: int, last_ms: int
    ) -> tuple[np.ndarray | None, np.ndarray | None]:
        if not channel.company:
            return None, None
        reach_ms = round(channel.limits.company_age_s * 1000) if channel.limits.company_age_s else 0
        pairs = sorted(
            (row.time_ms, row.value)
            for other in channel.company
            for row in self._store.revisions.rows(other, quantity, first_ms - reach_ms, last_ms + 1)
            if row.value is not None and row.flag <= Flag.SUSPECT
        )
        return np.array([t for t, _ in pairs], np.int64), np.array([v for _, v in pairs], np.float64)

    def derived(
        self, probe: str, quantity: Quantity, rows: Sequence[KeptReading], plan: RoomPlan
    ) -> tuple[Quantity, list[KeptReading]] | None:
        """The rows' oxygen in its other quantity; None where nothing is derived."""
        other = OTHER.get(quantity)
        tank = plan.channel(probe, quantity).tank
        if other is None or tank is None or plan.measures(probe, other):
            return None
        first_ms, last_ms = rows[0].time_ms, rows[-1].time_ms
        warmth = Timeline(self._temperatures(tank.id, first_ms, last_ms, plan))
        air = Timeline(self._pressures(first_ms, last_ms, plan))
        salinity_psu = plan.salinity_psu(tank.id)
        out = []
        for row in rows:
            reading = CheckedReading(
                probe, quantity, row.time_ms, row.raw_value, row.raw_unit, row.value, row.flag, row.reason
            )
            pressure = air.near(row.time_ms, "", PRESSURE_AGE_MS)
            water = (
                Water(plan.pressure_kpa, salinity_psu)
                if pressure is None
                else Water(pressure.value, salinity_psu, pressure.flag)
            )
            found = derive(reading, warmth.near(row.time_ms, probe, TEMPERATURE_AGE_MS), water)
            out.append(replace(row, value=found.value, flag=found.flag, reason=found.reason))
        return other, out

    def _temperatures(self, tank: str, first_ms: int, last_ms: int, plan: RoomPlan) -> list[Partner]:
        probes = [one.id for one in plan.probes_of(tank) if plan.measures(one.id, Quantity.TEMPERATURE)]
        return self._partners(probes, Quantity.TEMPERATURE, first_ms, last_ms, TEMPERATURE_AGE_MS)

    def _pressures(self, first_ms: int, last_ms: int, plan: RoomPlan) -> list[Partner]:
        probes = [one for one in plan.probes if plan.measures(one, Quantity.PRESSURE)]
        found = self._partners(probes, Quantity.PRESSURE, first_ms, last_ms, PRESSURE_AGE_MS)
        return [one for one in found if one.flag < Flag.SUSPECT]

    def _partners(
        self, probes: Sequence[str], quantity: Quantity, first_ms: int, last_ms: int, age_ms: int
    ) -> list[Partner]:
        found = [
            Partner(row.time_ms, row.value, row.flag, probe)
            for probe in probes
            for row in self._store.revisions.rows(probe, quantity, first_ms - age_ms, last_ms + age_ms + 1)
            if row.value is not None and row.flag <= Flag.SUSPECT
        ]
        return sorted(found, key=lambda one: one.time_ms)

    def leaning_on(self, probe: str, quantity: Quantity, plan: RoomPlan) -> list[Key]:
        """The channels whose derived values are made with this one."""
        tank = plan.channel(probe, quantity).tank
        if quantity is Quantity.TEMPERATURE and tank is not None:
            probes = list(plan.probes_of(tank.id))
        elif quantity is Quantity.PRESSURE and probe in plan.probes:
            probes = [one for one in plan.probes.values() if one.tank is not None]
        else:
            return []
        return [
            (one.id, of) for one in probes for of, other in OTHER.items()
            if plan.measures(one.id, of) and not plan.measures(one.id, other)
        ]  # fmt: skip

    def reach_ms(self, quantity: Quantity) -> int:
        """How far from it in time a partner serves."""
        return PRESSURE_AGE_MS if quantity is Quantity.PRESSURE else TEMPERATURE_AGE_MS

    def told(self, channel: ChannelPlan, first_ms: int, last_ms: int) -> Callable[[int], bool]:
        """Whether an alert of this channel already stood at a time, told when it was news."""
        subjects = (channel.not_known, *(subject for subject, _ in channel.kinds))
        spans = [span for one in subjects for span in self._store.state.stood(one.key, first_ms, last_ms + 1)]
        return lambda time_ms: any(start <= time_ms and (end is None or time_ms <= end) for start, end in spans)


class Timeline:
    """Partners in the order of time, asked for the nearest one."""

    def __init__(self, partners: Sequence[Partner]) -> None:
        self._partners = partners
        self._times = [one.time_ms for one in partners]

    def near(self, time_ms: int, probe: str, age_ms: int) -> Partner | None:
        """The partner the line would have chosen."""
        place = bisect_right(self._times, time_ms)
        close = choose(self._partners[max(0, place - 4) : place + 1], time_ms, probe, age_ms)
        if close is not None and close.flag < Flag.SUSPECT and close.time_ms <= time_ms:
            return close
        first = bisect_right(self._times, time_ms - age_ms - 1)
        last = bisect_right(self._times, time_ms + age_ms)
        return choose(self._partners[first:last], time_ms, probe, age_ms)
