"""The morning report: the night tank by tank, what drifted, which probes lie, what was done, what is due today.

Must not do: judge anew; limits are those in force, flags those of the checks.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from api.domain.alert import AlertKind, AlertState, Priority
from api.domain.band import SEVERITY, Band
from api.domain.rest import Scope
from api.domain.tank import Tank
from api.domain.words import KIND_WORDS, duration
from api.judge.night import night_of
from api.judge.rota import local_of, moment_ms
from api.services.morning_answers import Distrust, MorningReport, NightAlert, NightQuantity, NightTank
from api.services.morning_log import MorningLog
from api.services.plan import RoomPlan
from api.storage.base import Channel, Store
from api.storage.history_base import StoodRow

SPAN_MS = 300_000
OF_PROBE = (AlertKind.QUIET_PROBE, AlertKind.NOT_KNOWN, AlertKind.CALIBRATION_DUE)
FLAGGED_SHARE = 0.05
"""A probe whose readings fail or are doubted more often cannot be trusted: judgement. [1]"""
OPEN = (AlertState.UNACKNOWLEDGED, AlertState.ACKNOWLEDGED)


class Mornings:
    """Makes reports; of any morning that is kept."""

    def __init__(self, store: Store, plan: Callable[[], RoomPlan], log: MorningLog) -> None:
        self._store, self._plan, self._log = store, plan, log

    def night_ms(self, day: date) -> tuple[int, int]:
        """From when to when the night lasts that ends on a day. [ms]"""
        plan = self._plan()
        zone, morning = ZoneInfo(plan.room.zone), plan.morning
        before = day - timedelta(days=1) if morning.night_from > morning.at else day
        return moment_ms(before, morning.night_from, zone), moment_ms(day, morning.at, zone)

    def today(self, now_ms: int) -> date:
        """The day whose morning it is, or will be next once the evening has begun."""
        today = local_of(now_ms, ZoneInfo(self._plan().room.zone)).date()
        begins_ms, _ = self.night_ms(today + timedelta(days=1))
        return today + timedelta(days=1) if now_ms >= begins_ms else today

    def report(self, day: date, now_ms: int) -> MorningReport:
        """The report of one morning."""
        plan = self._plan()
        start_ms, end_ms = self.night_ms(day)
        over = now_ms >= end_ms
        end_ms = max(start_ms + 1, min(end_ms, now_ms))
        rows = self._store.history.stood(start_ms, end_ms)
        alerts = [_alert(row) for row in rows if row.found_late == 0 or row.raised_ms >= start_ms]
        channels = self._store.readings.channels()
        tanks = [self._tank(tank, plan, channels, alerts, start_ms, end_ms) for tank in plan.tanks.values()]
        tanks.sort(key=lambda one: (-SEVERITY[one.band], -len(one.alerts)))
        return MorningReport(
            day=day.isoformat(),
            start_ms=start_ms,
            end_ms=end_ms,
            made_ms=now_ms,
            over=over,
            tanks=tuple(tanks),
            room_alerts=tuple(one for one in alerts if one.tank is None),
            distrusted=self._distrusted(plan, tanks, rows, start_ms, end_ms),
            done=self._log.done(start_ms, end_ms),
            due=self._log.due(now_ms) if day == self.today(now_ms) else (),
            standing=len(self._store.state.alerts(OPEN, 1000)) if day == self.today(now_ms) else 0,
        )

    def _tank(
        self, tank: Tank, plan: RoomPlan, channels: list[Channel], alerts: list[NightAlert], start_ms: int, end_ms: int
    ) -> NightTank:
        found = []
        for one in channels:
            channel = plan.channel(one.probe, one.quantity)
            if channel.tank is not None and channel.tank.id == tank.id and channel.care is not None:
                found.append(self._quantity(one, plan, start_ms, end_ms))
        bands = [Band.UNKNOWN if one.water is None else one.water.worst for one in found] or [Band.UNKNOWN]
        return NightTank(
            tank=tank,
            band=max(bands, key=SEVERITY.__getitem__),
            quantities=tuple(found),
            alerts=tuple(one for one in alerts if one.tank == tank.id),
        )

    def _quantity(self, one: Channel, plan: RoomPlan, start_ms: int, end_ms: int) -> NightQuantity:
        spans = self._store.readings.summaries(
            one.probe, one.quantity, start_ms // SPAN_MS * SPAN_MS, end_ms, SPAN_MS // 1000, SPAN_MS
        )
        known = [
            (span.start_ms, span.mean, span.low, span.high)
            for span in spans
            if span.mean is not None and span.low is not None and span.high is not None
        ]
        channel = plan.channel(one.probe, one.quantity)
        care = plan.in_force(channel, one.quantity, start_ms).care
        water = night_of(known, care, start_ms, end_ms, SPAN_MS)
        return NightQuantity(one.probe, one.quantity, water, sum(span.flagged for span in spans))

    def _distrusted(
        self, plan: RoomPlan, tanks: list[NightTank], rows: list[StoodRow], start_ms: int, end_ms: int
    ) -> tuple[Distrust, ...]:
        night_s = (end_ms - start_ms) / 1000
        why: dict[str, list[str]] = {}
        now: set[str] = set()
        for row in rows:
            if row.probe is not None and row.kind in OF_PROBE and not row.found_late:
                stood = duration((min(row.ended_ms or end_ms, end_ms) - row.since_ms) / 1000)
                why.setdefault(row.probe, []).append(f"{KIND_WORDS[AlertKind(row.kind)]} for {stood}")
                now |= {row.probe} if row.ended_ms is None else set()
        for tank in tanks:
            for one in tank.quantities:
                readings = night_s / plan.channel(one.probe, one.quantity).every_s
                if one.flagged > max(3.0, FLAGGED_SHARE * readings):
                    words = f"{one.flagged} readings of {one.quantity.replace('_', ' ')} flagged"
                    why.setdefault(one.probe, []).append(words)
        for rest in self._store.rests.rests(running=True):
            if rest.scope is Scope.PROBE:
                why.setdefault(rest.key, []).append(f"out of service: {rest.reason}")
                now.add(rest.key)
        return tuple(Distrust(probe, _place(probe, plan), tuple(some), probe in now) for probe, some in why.items())


def _place(probe: str, plan: RoomPlan) -> str:
    described = plan.probes.get(probe)
    tank = plan.tanks.get(described.tank) if described is not None and described.tank is not None else None
    return tank.name if tank is not None else ""


def _alert(row: StoodRow) -> NightAlert:
    return NightAlert(
        id=row.alert,
        tank=row.tank,
        kind=AlertKind(row.kind),
        priority=Priority(row.priority),
        since_ms=row.since_ms,
        ended_ms=row.ended_ms,
        found_late=bool(row.found_late),
        person=row.acknowledged_by or "",
    )
