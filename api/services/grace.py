"""Grace time: what would happen to each tank if its air stopped now, learned from air tests and from air that was lost.

Must not do: guess for a tank that never showed it; such a tank is told as not known.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf, isfinite

from api.domain.alert import AlertKind, AlertState
from api.domain.cause import CauseName
from api.domain.errors import IntermoltError
from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.domain.tank import Tank
from api.science.air_off_on import AirPhase, fit_air_off
from api.science.air_test import AirTest, fit_air_test
from api.science.exchange_fit import Estimate
from api.science.exchange_forecast import hours_to
from api.science.oxygen import saturation_mg_l
from api.services import reasons
from api.services.air_tests import oxygen_channel
from api.services.plan import RoomPlan
from api.services.pressure import station
from api.storage.base import AlertRow, Store

CONFIDENCE = 0.8
AIR_CAUSES = (CauseName.LOST_AIR, CauseName.POWER_CUT, CauseName.STAGNATION)
LONGEST_MS, SHORTEST_MS = 6 * 3_600_000, 900_000
"""Of a stretch without air the first six hours count, and a quarter of an hour at least is needed."""
MOST_ALERTS = 500
AIR_TEST, AIR_LOST = "air test", "air lost"


@dataclass(frozen=True, slots=True)
class GraceTo:
    """Hours without air until a limit, with an 80 % interval; infinite: never."""

    name: str
    limit_mg_l: float
    hours: float
    low_h: float
    high_h: float


@dataclass(frozen=True, slots=True)
class Grace:
    """What is known of a tank without air; ``source`` empty: nothing. Demand in mg/L/h, exchange per hour.

    ``when_ms`` is when it was seen, ``oxygen_mg_l`` where the clock would start now, ``rest_mg_l`` where it would end.
    """

    tank: Tank
    source: str = ""
    when_ms: int | None = None
    oxygen_mg_l: float | None = None
    demand: Estimate | None = None
    still: Estimate | None = None
    aired: Estimate | None = None
    rest_mg_l: float | None = None
    to: tuple[GraceTo, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def soonest_h(self) -> float:
        """For ranking: hours to the danger limit, or the last limit there is; unknown tanks come last."""
        return self.to[-1].hours if self.to else inf


Fitted = AirPhase | AirTest


class Graces:
    """Answers for one tank, or for all of them, the shortest grace first."""

    def __init__(self, store: Store, plan: Callable[[], RoomPlan], now_ms: Callable[[], int]) -> None:
        self._store, self._plan, self._now_ms = store, plan, now_ms
        self._fits: dict[tuple[str, int, int], tuple[Fitted | None, tuple[str, ...]]] = {}

    def all(self) -> tuple[Grace, ...]:
        """Every tank; those that are not known last."""
        found = [self.tank(tank) for tank in self._plan().tanks]
        return tuple(sorted(found, key=lambda one: (not one.source, one.soonest_h, one.tank.name)))

    def tank(self, tank: str) -> Grace:
        """One tank, from its newest air test that tells, else from the newest time its air was lost."""
        known = self._plan().tanks[tank]
        notes: tuple[str, ...] = ()
        for source, when_ms, fitted, said in self._sources(tank):
            if fitted is not None:
                return self._told(known, source, when_ms, fitted, said)
            notes = notes or said
        channel = oxygen_channel(self._store, self._plan(), tank)
        return Grace(known, oxygen_mg_l=channel.value if channel is not None else None, notes=notes)

    def _sources(self, tank: str) -> list[tuple[str, int, Fitted | None, tuple[str, ...]]]:
        found: list[tuple[str, int, Fitted | None, tuple[str, ...]]] = []
        for test in self._store.air_tests.tests(tank)[:5]:
            off_end = test.stop_ms or test.on_ms
            if off_end is None:
                continue
            on_end = test.ended_ms if test.on_ms is not None else None
            fitted, notes = self._fit(tank, test.off_ms, off_end, test.on_ms, on_end)
            found.append((AIR_TEST, test.off_ms, fitted, notes))
            if fitted is not None:
                return found
        for row in self._lost(tank)[:5]:
            end_ms = self._lowest_ms(tank, row.since_ms, row.ended_ms or self._now_ms())
            fitted, notes = self._fit(tank, row.since_ms, end_ms, None, None)
            found.append((AIR_LOST, row.since_ms, fitted, notes))
            if fitted is not None:
                return found
        return found

    def _lost(self, tank: str) -> list[AlertRow]:
        """Alerts of this tank whose likeliest cause was lost air, newest first."""
        return [
            row
            for row in self._store.state.alerts(list(AlertState), MOST_ALERTS)
            if row.tank == tank and row.kind == AlertKind.LOW_OXYGEN and _of_air(row)
        ]

    def _lowest_ms(self, tank: str, start_ms: int, end_ms: int) -> int:
        """When oxygen was lowest: from then on the air was on again."""
        end_ms = min(end_ms, start_ms + LONGEST_MS)
        times, values = self._oxygen(tank, start_ms, end_ms)
        return times[values.index(min(values))] + 1 if values else end_ms

    def _fit(
        self, tank: str, off_ms: int, off_end_ms: int, on_ms: int | None, on_end_ms: int | None
    ) -> tuple[Fitted | None, tuple[str, ...]]:
        key = (tank, off_ms, on_end_ms or off_end_ms)
        if key not in self._fits:
            self._fits[key] = self._fitted(tank, off_ms, off_end_ms, on_ms, on_end_ms)
        return self._fits[key]

    def _fitted(
        self, tank: str, off_ms: int, off_end_ms: int, on_ms: int | None, on_end_ms: int | None
    ) -> tuple[Fitted | None, tuple[str, ...]]:
        if off_end_ms - off_ms < SHORTEST_MS:
            return None, ("the air was off for less than a quarter of an hour: too short to tell",)
        off = self._oxygen(tank, off_ms, off_end_ms)
        full = self._saturation(tank, off_ms, off_end_ms)
        if full is None:
            return None, ("no temperature was kept beside it, so saturation is not known",)
        try:
            if on_ms is not None and on_end_ms is not None and on_end_ms - on_ms >= SHORTEST_MS:
                on = self._oxygen(tank, on_ms, on_end_ms)
                whole = fit_air_test(_hours(off[0]), off[1], _hours(on[0]), on[1], full, confidence=CONFIDENCE)
                return whole, whole.warnings
            phase = fit_air_off(_hours(off[0]), off[1], full, confidence=CONFIDENCE)
        except IntermoltError as error:
            return None, (str(error),)
        return phase, phase.warnings

    def _oxygen(self, tank: str, start_ms: int, end_ms: int) -> tuple[list[int], list[float]]:
        channel = oxygen_channel(self._store, self._plan(), tank)
        if channel is None:
            return [], []
        rows = self._store.revisions.rows(channel.probe, Quantity.OXYGEN, start_ms, end_ms)
        kept = [(row.time_ms, row.value) for row in rows if row.value is not None and row.flag <= Flag.SUSPECT]
        return [time_ms for time_ms, _ in kept], [value for _, value in kept]

    def _saturation(self, tank: str, start_ms: int, end_ms: int) -> float | None:
        plan = self._plan()
        values: list[float] = []
        for probe in plan.probes_of(tank):
            rows = self._store.revisions.rows(probe.id, Quantity.TEMPERATURE, start_ms, end_ms)
            values += [row.value for row in rows if row.value is not None and row.flag <= Flag.SUSPECT]
        if not values:
            return None
        pressure = station(self._store.readings.channels(), plan, self._now_ms()).pressure_kpa
        try:
            return saturation_mg_l(sum(values) / len(values), pressure, plan.salinity_psu(tank))
        except IntermoltError:
            return None

    def _told(self, tank: Tank, source: str, when_ms: int, fitted: Fitted, notes: Sequence[str]) -> Grace:
        channel = oxygen_channel(self._store, self._plan(), tank.id)
        now = channel.value if channel is not None and channel.value is not None else None
        care = self._plan().range_of(tank, Quantity.OXYGEN)
        limits = (("tolerable", care.tolerable_low), ("danger", care.danger_low)) if care is not None else ()
        to, rest = [], None
        for name, limit in limits:
            if limit is None or now is None:
                continue
            try:
                found = hours_to(fitted, limit, now, CONFIDENCE)
            except IntermoltError as error:
                notes = (*notes, str(error))
                continue
            rest = found.equilibrium_mg_l
            if now <= limit:
                to.append(GraceTo(name, limit, 0.0, 0.0, 0.0))
                continue
            to.append(GraceTo(name, limit, found.hours, found.low_h, found.high_h))
        aired = fitted.aerated_per_h if isinstance(fitted, AirTest) else None
        return Grace(
            tank=tank,
            source=source,
            when_ms=when_ms,
            oxygen_mg_l=now,
            demand=fitted.demand_mg_l_h,
            still=fitted.exchange_per_h,
            aired=aired,
            rest_mg_l=rest if rest is not None and isfinite(rest) else None,
            to=tuple(to),
            notes=tuple(notes),
        )


def _of_air(row: AlertRow) -> bool:
    causes, _ = reasons.read(row.reasons)
    return bool(causes) and causes[0].name in AIR_CAUSES


def _hours(times_ms: Sequence[int]) -> list[float]:
    return [(time_ms - times_ms[0]) / 3.6e6 for time_ms in times_ms]
