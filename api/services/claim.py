"""Claiming a probe for a tank: from then on its readings are judged by that tank's care.

A probe that was only heard is described by what it says. Must not do: take a probe away from a tank that has it.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from statistics import median

from api.domain.errors import InputError, NotFound
from api.domain.tank import NO_DRIVER, Probe, Value
from api.services.records import Records
from api.storage.base import Channel, Store

LOOK_BACK_MS = 3_600_000
USUAL_S, LEAST_S, MOST_S = 60.0, 0.1, 86_400.0


class Claims:
    """Puts probes into the plan."""

    def __init__(self, store: Store, records: Records) -> None:
        self._store, self._records = store, records

    def claim(self, probe_id: str, tank_id: str, now_ms: int) -> None:
        """Give a probe to a tank; waits until it is kept.

        Raises NotFound for a tank that is not there or a probe never heard, InputError for one that has a tank.
        """
        plan = self._records.plan()
        if tank_id not in plan.tanks:
            raise NotFound(f"there is no tank {tank_id[:80]!r}")
        known = plan.probes.get(probe_id)
        if known is not None and known.tank in plan.tanks:
            if known.tank == tank_id:
                return
            raise InputError(f"probe {probe_id!r} belongs to tank {known.tank!r}; change it in room.toml")
        self._records.put_probe(replace(known, tank=tank_id) if known else self._heard(probe_id, tank_id), now_ms)

    def _heard(self, probe_id: str, tank_id: str) -> Probe:
        channels = [one for one in self._store.readings.channels() if one.probe == probe_id and not one.derived]
        if not channels:
            raise NotFound(f"no reading of a probe {probe_id[:80]!r} was ever heard")
        values = tuple(Value(one.quantity, one.unit) for one in channels)
        return Probe(probe_id, NO_DRIVER, tank_id, min(map(self._every_s, channels)), values)

    def _every_s(self, channel: Channel) -> float:
        """How often it speaks, from its last hour. [s]"""
        start_ms = channel.last_ms - LOOK_BACK_MS
        times = [row[0] for row in self._store.readings.recent(
            channel.probe, channel.quantity, start_ms, channel.last_ms + 1
        )]  # fmt: skip
        if len(times) < 3:
            return USUAL_S
        every_s = median(later - earlier for earlier, later in pairwise(times)) / 1000
        return round(min(MOST_S, max(LEAST_S, every_s)), 1)
