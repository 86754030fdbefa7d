"""The conditions report: what the water of some tanks was over a time, as a methods section needs it.

Flagged readings (suspect, failed, missing) are left out and counted. Must not do: format, or change anything.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass

import numpy as np

from api.domain.alert import AlertKind
from api.domain.band import Band
from api.domain.care import CareRange
from api.domain.errors import InputError, NotFound
from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.domain.tank import Tank
from api.judge.conditions import Conditions, Gap, Means, conditions, degree_days, means_of
from api.molt.species_table import figures_of
from api.services.calibrations import entry_of
from api.services.plan import RoomPlan
from api.storage.base import AlertRow, Store

__all__ = ["Band", "Conditions", "Gap", "QuantityReport", "Report", "Reports", "Stood", "TankReport"]
SHORT_MS = 45 * 86_400_000
"""Up to so long spans of five minutes are taken, beyond it hours. [ms]"""
FINE_S, COARSE_S = 300, 3600
LONGEST_MS = 10 * 366 * 86_400_000
MOST_ALERTS = 100_000
WHOLE = 0.99
"""Share of the time from which on degree-days are said without a word about gaps: judgement. [1]"""


@dataclass(frozen=True, slots=True)
class QuantityReport:
    """One quantity of one probe. ``readings`` believed, ``flagged`` left out; ``span_s`` is the length of the spans."""

    quantity: Quantity
    probe: str
    derived: bool
    span_s: int
    conditions: Conditions
    readings: int
    flagged: int
    care: CareRange | None


@dataclass(frozen=True, slots=True)
class Stood:
    """An alert that stood in the time; ``until_ms`` None: it still does."""

    id: int
    kind: AlertKind
    priority: str
    since_ms: int
    until_ms: int | None


@dataclass(frozen=True, slots=True)
class Compared:
    """A calibration of a probe of the tank in the time, or the last one before it."""

    probe: str
    quantity: Quantity
    from_ms: int
    kind: str


@dataclass(frozen=True, slots=True)
class TankReport:
    """One tank. ``degree_days`` above 0 °C; ``molt_degree_days`` of its species' molt clock. [degree-day]"""

    tank: Tank
    care: str
    quantities: tuple[QuantityReport, ...]
    degree_days: float | None
    molt_degree_days: float | None
    alerts: tuple[Stood, ...]
    calibrations: tuple[Compared, ...]

    @property
    def warmth_whole(self) -> bool:
        """Whether the temperature that the degree-days are summed from is known nearly all the time."""
        warm = next((one for one in self.quantities if one.quantity is Quantity.TEMPERATURE), None)
        return warm is not None and warm.conditions.known >= WHOLE


@dataclass(frozen=True, slots=True)
class Report:
    """Tanks over a time."""

    made_ms: int
    start_ms: int
    end_ms: int
    room: str
    zone: str
    tanks: tuple[TankReport, ...]


class Reports:
    """Makes them."""

    def __init__(self, store: Store, plan: Callable[[], RoomPlan]) -> None:
        self._store, self._plan = store, plan

    def report(self, tanks: Collection[str] | None, start_ms: int, end_ms: int, now_ms: int) -> Report:
        """Some tanks, or all, from start (inside) to end (outside).

        Raises InputError for a time that cannot be reported, NotFound for a tank that is not there.
        """
        if end_ms <= start_ms:
            raise InputError("a report ends after it starts: give the earlier time first")
        if end_ms - start_ms > LONGEST_MS:
            raise InputError("a report covers ten years at most; choose a shorter time")
        plan = self._plan()
        for name in tanks or ():
            if name not in plan.tanks:
                raise NotFound(f"there is no tank {name!r}; tanks: {', '.join(plan.tanks) or 'none'}")
        chosen = [tank for tank in plan.tanks.values() if not tanks or tank.id in tanks]
        alerts = self._store.state.alerts(None, MOST_ALERTS)
        made = tuple(
            self._tank(tank, plan, alerts, start_ms, min(end_ms, max(now_ms, start_ms + 1))) for tank in chosen
        )
        return Report(now_ms, start_ms, end_ms, plan.room.name, plan.room.zone, made)

    def _tank(self, tank: Tank, plan: RoomPlan, alerts: list[AlertRow], start_ms: int, end_ms: int) -> TankReport:
        probes = {probe.id for probe in plan.probes_of(tank.id)}
        channels = [one for one in self._store.readings.channels() if one.probe in probes]
        channels.sort(key=lambda one: (list(Quantity).index(one.quantity), one.derived, one.probe))
        span_s = FINE_S if end_ms - start_ms <= SHORT_MS else COARSE_S
        found: list[QuantityReport] = []
        warm: Means | None = None
        for one in channels:
            means, good, flagged = self._means(one.probe, one.quantity, start_ms, end_ms, span_s)
            if not good + flagged:
                continue
            if one.quantity is Quantity.TEMPERATURE and warm is None:
                warm = means
            care = plan.range_of(tank, one.quantity)
            done = conditions(means, care, start_ms, end_ms)
            found.append(QuantityReport(one.quantity, one.probe, one.derived, span_s, done, good, flagged, care))
        species = figures_of(tank.species)
        return TankReport(
            tank=tank,
            care=tank.care,
            quantities=tuple(found),
            degree_days=degree_days(warm, 0.0) if warm is not None else None,
            molt_degree_days=degree_days(warm, species.zero.value, species.cap.value) if warm is not None else None,
            alerts=_stood(tank.id, alerts, start_ms, end_ms),
            calibrations=self._calibrations(probes, start_ms, end_ms),
        )

    def _means(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int, span_s: int) -> tuple[Means, int, int]:
        """Spans of believed readings, how many those are, and how many were left out."""
        length_ms = span_s * 1000
        first_ms, last_ms = -(-start_ms // length_ms) * length_ms, end_ms // length_ms * length_ms
        kept_spans = self._store.readings.kept_spans(probe, quantity, first_ms, last_ms, span_s)
        table = np.array(kept_spans, np.float64).reshape(-1, 6)
        clean = (table[:, 5] == 0) & (table[:, 1] > 0)
        whole = table[clean]
        good, flagged = int(whole[:, 1].sum()), int(table[:, 5].sum())
        rows: list[tuple[int, float, float, float]] = []
        for one in table[~clean].tolist():
            kept = self._believed(probe, quantity, int(one[0]), int(one[0]) + length_ms)
            good += len(kept)
            if kept:
                rows.append((int(one[0]), sum(kept) / len(kept), min(kept), max(kept)))
        for edge in ((start_ms, min(first_ms, end_ms)), (max(last_ms, first_ms), end_ms)):
            if edge[0] < edge[1]:
                kept = self._believed(probe, quantity, *edge)
                good += len(kept)
                flagged += self._store.readings.count(probe, quantity, *edge, 10**9) - len(kept)
                if kept:
                    rows.append((edge[0], sum(kept) / len(kept), min(kept), max(kept)))
        more = means_of(rows, length_ms)
        starts = np.concatenate((whole[:, 0].astype(np.int64), more.start_ms))
        order = np.argsort(starts, kind="stable")
        mean, low, high = (
            np.concatenate((own, other))[order]
            for own, other in (
                (whole[:, 2] / whole[:, 1], more.mean), (whole[:, 3], more.low), (whole[:, 4], more.high),
            )
        )  # fmt: skip
        return Means(starts[order], mean, low, high, length_ms), good, flagged

    def _believed(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> list[float]:
        """Values of readings without a doubt: good, or not evaluated for want of neighbours."""
        rows = self._store.readings.recent(probe, quantity, start_ms, end_ms)
        return [value for _, value, flag in rows if value is not None and flag < Flag.SUSPECT]

    def _calibrations(self, probes: set[str], start_ms: int, end_ms: int) -> tuple[Compared, ...]:
        last: dict[tuple[str, Quantity], Compared] = {}
        found: list[Compared] = []
        for row in self._store.revisions.calibrations():
            entry = entry_of(row)
            given = entry.calibration
            if entry.withdrawn_ms is not None or given.probe not in probes or given.from_ms >= end_ms:
                continue
            one = Compared(given.probe, given.quantity, given.from_ms, str(given.kind))
            if given.from_ms < start_ms:
                last[given.probe, given.quantity] = one
            else:
                found.append(one)
        return tuple(sorted([*last.values(), *found], key=lambda one: one.from_ms))


def _stood(tank: str, alerts: list[AlertRow], start_ms: int, end_ms: int) -> tuple[Stood, ...]:
    """The tank's alerts that stood in a time, oldest first."""
    mine = [
        Stood(row.id, AlertKind(row.kind), row.priority, row.since_ms, row.ended_ms)
        for row in alerts
        if row.tank == tank and row.since_ms < end_ms and (row.ended_ms is None or row.ended_ms >= start_ms)
    ]
    return tuple(sorted(mine, key=lambda one: one.since_ms))
