"""Each tank's recorded temperature by hours, kept in memory and brought up to date, for the clocks of its animals.

A tank's hours are those of the probes it has now; of several probes the mean. Must not do: fill gaps.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from api.domain.quantity import Quantity
from api.molt.warmth import Warmth
from api.services.plan import RoomPlan
from api.storage.base import Store

HOUR_MS = 3_600_000
AGAIN_MS = 72 * HOUR_MS
"""Hours this young are read again each time: late readings and second thoughts change them. [ms]"""
WHOLE_MS = 24 * HOUR_MS
"""All hours are read again this often: old readings can be brought in, and values made anew. [ms]"""


@dataclass(slots=True)
class _Kept:
    """A tank's hours as they were read."""

    probes: tuple[str, ...]
    lines: object
    read_ms: int
    start_ms: NDArray[np.int64]
    total: NDArray[np.float64]
    count: NDArray[np.float64]


class TankWarmth:
    """Temperatures by tank."""

    def __init__(self, store: Store, plan: Callable[[], RoomPlan]) -> None:
        self._store, self._plan = store, plan
        self._lock = Lock()
        self._kept: dict[str, _Kept] = {}

    def all(self, tanks: set[str], now_ms: int) -> dict[str, Warmth]:
        """The record of each of these tanks until now; a tank without a thermometer has an empty one."""
        with self._lock:
            return {tank: self._one(tank, now_ms) for tank in sorted(tanks)}

    def _one(self, tank: str, now_ms: int) -> Warmth:
        plan = self._plan()
        probes = tuple(probe.id for probe in plan.probes_of(tank) if plan.measures(probe.id, Quantity.TEMPERATURE))
        lines = [plan.lines.get((probe, Quantity.TEMPERATURE)) for probe in probes]
        kept = self._kept.get(tank)
        if kept is None or (kept.probes, kept.lines) != (probes, lines) or now_ms - kept.read_ms >= WHOLE_MS:
            kept = _Kept(probes, lines, now_ms, np.empty(0, np.int64), np.empty(0), np.empty(0))
        from_ms = 0 if not kept.start_ms.size else int(kept.start_ms[-1]) - AGAIN_MS
        start_ms, total, count = self._hours(probes, from_ms, now_ms + 1)
        old = kept.start_ms < from_ms
        kept.start_ms = np.concatenate((kept.start_ms[old], start_ms))
        kept.total = np.concatenate((kept.total[old], total))
        kept.count = np.concatenate((kept.count[old], count))
        self._kept[tank] = kept
        if not kept.start_ms.size:
            return Warmth()
        return Warmth.of_hours(kept.start_ms, kept.total / kept.count)

    def _hours(
        self, probes: tuple[str, ...], start_ms: int, end_ms: int
    ) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
        """Each hour's start, sum of the probes' means in it, and of how many."""
        rows: list[tuple[int, float]] = []
        for probe in probes:
            rows += self._store.readings.hour_means(probe, Quantity.TEMPERATURE, start_ms, end_ms)
        told = np.fromiter(rows, [("at_ms", np.int64), ("mean", np.float64)], len(rows))
        at_ms, mean = told["at_ms"].copy(), told["mean"].copy()
        if len(probes) < 2:
            return at_ms, mean, np.ones(mean.size)
        hours, place = np.unique(at_ms, return_inverse=True)
        return hours, np.bincount(place, mean).astype(np.float64), np.bincount(place).astype(np.float64)
