"""The questions pages and routes ask, answered from the store and the plan. Must not do: change anything."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from api.domain.alert import AlertKind, AlertState, Priority
from api.domain.band import SEVERITY, Band
from api.domain.errors import NotFound, OutOfRange
from api.domain.quantity import Quantity
from api.domain.tank import Tank
from api.judge.outlook import Outlook
from api.judge.resting import REPEAT_SPAN_MS, STALE_MS
from api.judge.what_to_do import what_to_do
from api.science.oxygen import saturation_mg_l
from api.services import reasons
from api.services.addresses import unreachable
from api.services.answers import (
    AlertNow,
    AlertStep,
    CollectorNow,
    Latest,
    PortNow,
    RoomNow,
    Series,
    TankNow,
)
from api.services.latest import Ask, LatestMaker
from api.services.line_words import tank_words, urgency
from api.services.plan import RoomPlan
from api.services.pressure import pressure_warning, station
from api.services.series import SeriesMaker
from api.services.soft_guard import SoftGuard
from api.services.strips import Strips
from api.storage.base import AlertRow, Store

OPEN_STATES = (AlertState.UNACKNOWLEDGED, AlertState.ACKNOWLEDGED, AlertState.RETURNED_UNACKNOWLEDGED)
SILENT_MS = 60_000


class Reader:
    """Answers."""

    def __init__(
        self,
        store: Store,
        plan: Callable[[], RoomPlan],
        started_ms: int,
        guard: SoftGuard | None = None,
        ask: Ask | None = None,
    ) -> None:
        self._store, self._plan, self._guard = store, plan, guard
        self._strips = Strips(store)
        self._series = SeriesMaker(store, plan)
        self._latest = LatestMaker(store, plan, started_ms, ask)

    def room(self, now_ms: int) -> RoomNow:
        """The whole room, tanks most urgent first."""
        plan = self._plan()
        air = station(self._store.readings.channels(), plan, now_ms)
        standing = self.alerts(OPEN_STATES)
        by_probe = self._latest.all(now_ms)
        tanks = [self._tank(tank, plan, standing, by_probe, now_ms, air.pressure_kpa) for tank in plan.tanks.values()]
        tanks = self._with_animals(tanks, now_ms)
        claimed = {probe.id for probe in plan.probes.values() if probe.tank is not None}
        return RoomNow(
            time_ms=now_ms,
            room=plan.room,
            simulated=plan.simulated,
            pressure_kpa=air.pressure_kpa,
            pressure_source=air.source,
            warnings=tuple(filter(None, [pressure_warning(plan)])),
            tanks=tuple(sorted(tanks, key=lambda tank: tank.urgency)),
            room_alerts=tuple(alert for alert in standing if alert.tank is None),
            unclaimed=tuple(
                latest for probe, (latests, _) in by_probe.items() if probe not in claimed for latest in latests
            ),
            undelivered=tuple(self._store.state.undelivered(50)),
            no_notify=unreachable(plan),
            collectors=self._collectors(now_ms),
            resting=len(self._store.rests.rests(running=True)),
            refused_here=self._store.state.counters().get("refused", 0),
        )

    def tank(self, tank_id: str, now_ms: int) -> TankNow:
        """One tank.

        Raises NotFound.
        """
        plan = self._plan()
        tank = plan.tanks.get(tank_id)
        if tank is None:
            raise NotFound(f"there is no tank {tank_id!r}")
        by_probe = self._latest.all(now_ms, tank_id)
        air = station(self._store.readings.channels(), plan, now_ms)
        made = self._tank(tank, plan, self.alerts(OPEN_STATES), by_probe, now_ms, air.pressure_kpa)
        return self._with_animals([made], now_ms)[0]

    def _with_animals(self, tanks: list[TankNow], now_ms: int) -> list[TankNow]:
        """Tanks with their soft animals and broods."""
        if self._guard is None:
            return tanks
        soft, broods = self._guard.tanks(now_ms), self._guard.broods()
        return [replace(one, soft=soft.get(one.tank.id, ()), broods=broods.get(one.tank.id, ())) for one in tanks]

    def quantities(self, tank_id: str) -> tuple[Quantity, ...]:
        """The quantities ever seen in a tank, in the order of the glossary."""
        probes = {probe.id for probe in self._plan().probes_of(tank_id)}
        seen = {channel.quantity for channel in self._store.readings.channels() if channel.probe in probes}
        return tuple(quantity for quantity in Quantity if quantity in seen)

    def series(
        self, tank_id: str, quantity: Quantity, start_ms: int, end_ms: int, points: int = 1500, unit: str | None = None
    ) -> Series:
        """A tank's quantity over time; see ``SeriesMaker.series``."""
        return self._series.series(tank_id, quantity, start_ms, end_ms, points, unit)

    def alerts(self, states: Sequence[AlertState] | None, most: int = 200) -> tuple[AlertNow, ...]:
        """Alerts, newest first; None: of every state."""
        return tuple(self._alert(row) for row in self._brought_up(self._store.state.alerts(states, most)))

    def alert(self, alert_id: int) -> AlertNow:
        """One alert with its steps.

        Raises NotFound.
        """
        row = self._store.state.alert(alert_id)
        if row is None:
            raise NotFound(f"there is no alert {alert_id}")
        (row,) = self._brought_up([row])
        return self._alert(row, tuple(AlertStep(*step) for step in self._store.state.events(alert_id)))

    def _brought_up(self, rows: Sequence[AlertRow]) -> list[AlertRow]:
        """Records change with an alert's steps only; how far the water went since then stands in its track."""
        if all(row.ended_ms is not None for row in rows):
            return list(rows)
        worst = {one.subject.key: one.worst for one in self._store.state.tracks() if one.worst is not None}
        return [
            row if row.ended_ms is not None else replace(row, worst=worst.get(row.subject, row.worst)) for row in rows
        ]

    def _tank(
        self,
        tank: Tank,
        plan: RoomPlan,
        standing: Sequence[AlertNow],
        by_probe: dict[str, tuple[tuple[Latest, ...], dict[Quantity, Outlook]]],
        now_ms: int,
        pressure_kpa: float,
    ) -> TankNow:
        latest: list[Latest] = []
        outlooks: list[tuple[Latest, Outlook]] = []
        for probe in plan.heard_in(tank.id):
            latests, looks = by_probe.get(probe.id, ((), {}))
            latest.extend(latests)
            outlooks.extend((one, looks[one.quantity]) for one in latests if one.quantity in looks)
        alerts = tuple(alert for alert in standing if alert.tank == tank.id)
        judged = [one for one in latest if one.care is not None]
        band = max((one.band for one in judged), key=SEVERITY.__getitem__, default=Band.UNKNOWN)
        left_s = min((look.left_s for _, look in outlooks if look.left_s is not None), default=None)
        return TankNow(
            tank=tank,
            latest=tuple(latest),
            strip=self._strips.strip(tank.id, plan, now_ms),
            alerts=alerts,
            words=tank_words(alerts, outlooks, band, now_ms),
            band=band,
            urgency=(*urgency(alerts, band, left_s), list(plan.tanks).index(tank.id)),
            time_left_s=left_s,
            most_oxygen_mg_l=_most_oxygen(latest, pressure_kpa, plan.salinity_psu(tank.id)),
        )

    def _alert(self, row: AlertRow, steps: tuple[AlertStep, ...] = ()) -> AlertNow:
        tank = self._plan().tanks.get(row.tank) if row.tank is not None else None
        causes, outlook = reasons.read(row.reasons)
        kind, from_ms = AlertKind(row.kind), row.raised_ms - REPEAT_SPAN_MS
        came = self._store.rests.activations(row.subject, from_ms) if row.ended_ms is None else 1
        return AlertNow(
            id=row.id,
            tank=row.tank,
            tank_name=tank.name if tank is not None else (row.tank or self._plan().room.name),
            kind=kind,
            probe=row.probe,
            quantity=Quantity(row.quantity) if row.quantity else None,
            priority=Priority(row.priority),
            state=AlertState(row.state),
            since_ms=row.since_ms,
            raised_ms=row.raised_ms,
            ended_ms=row.ended_ms,
            found_late=bool(row.found_late),
            value=row.value,
            worst=row.worst,
            limit=row.limit_value,
            text=row.text,
            first_check=row.first_check,
            acknowledged_by=row.acknowledged_by,
            acknowledged_ms=row.acknowledged_ms,
            note=row.note,
            steps=steps,
            causes=causes,
            outlook=outlook,
            to_do=what_to_do(kind, causes),
            stale_ms=row.raised_ms + STALE_MS,
            came=max(1, came),
            foreseen=reasons.foreseen(row.reasons),
        )

    def _collectors(self, now_ms: int) -> tuple[CollectorNow, ...]:
        out = []
        for name, said, seen_ms in self._store.state.collectors():
            spool = said["spool"]
            ports = tuple(
                PortNow(p["probe"], p["state"], p["last_reading_ms"], p["unreadable"], p["last_unreadable"], p["error"])
                for p in said["ports"]
            )
            silent = now_ms - seen_ms > SILENT_MS
            trouble = spool["trouble"] or ""
            counts = (spool["waiting"], spool["dropped"], spool["refused"])
            out.append(CollectorNow(name, seen_ms, silent, *counts, trouble, ports))
        return tuple(out)


def _most_oxygen(latest: Sequence[Latest], pressure_kpa: float, salinity_psu: float) -> float | None:
    """Full saturation at the tank's temperature, where that is known and inside the formula's range. [mg/L]"""
    for one in latest:
        if one.quantity is Quantity.TEMPERATURE and one.value is not None and not one.quiet:
            try:
                return saturation_mg_l(one.value, pressure_kpa, salinity_psu)
            except OutOfRange:
                return None
    return None
