"""The chart of one alert: the water around the moment it was told, and the forecast of that moment as a fan.

Must not do: forecast anew; what is shown is what was expected then.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from api.domain.alert import AlertKind
from api.domain.quantity import Quantity
from api.judge.fan import FanPoint, fan
from api.services.answers import AlertNow, Series
from api.services.plan import RoomPlan
from api.services.read import Reader

__all__ = ["AlertChart", "AlertCharts", "FanPoint"]
HOUR_MS = 3_600_000
BEFORE_MS, AFTER_MS, MOST_AFTER_MS = 6 * HOUR_MS, 2 * HOUR_MS, 24 * HOUR_MS
POINTS = 800
MOST_LINES = 12
OF_ROOM = {
    AlertKind.HEAT: Quantity.TEMPERATURE,
    AlertKind.COLD: Quantity.TEMPERATURE,
    AlertKind.LOW_OXYGEN: Quantity.OXYGEN,
}


@dataclass(frozen=True, slots=True)
class AlertChart:
    """One quantity from ``series.start_ms`` to ``end_ms``, which may lie ahead. ``at_ms``: when it was told."""

    series: Series
    at_ms: int
    end_ms: int
    fan: tuple[FanPoint, ...]


class AlertCharts:
    """Makes them."""

    def __init__(self, read: Reader, plan: Callable[[], RoomPlan]) -> None:
        self._read, self._plan = read, plan

    def quantities(self, alert: AlertNow) -> tuple[Quantity, ...]:
        """What an alert's page shows: its own quantity, else those of its probe, its tank, or the room."""
        if alert.quantity is not None and alert.tank in self._plan().tanks:
            return (alert.quantity,)
        if alert.tank is None:
            return (OF_ROOM[alert.kind],) if alert.kind in OF_ROOM else ()
        if alert.tank not in self._plan().tanks:
            return ()
        seen = self._read.quantities(alert.tank)
        own = self._plan().probes.get(alert.probe or "")
        if own is not None:
            return tuple(value.quantity for value in own.values if value.quantity in seen)[:2]
        return tuple(one for one in (Quantity.TEMPERATURE, Quantity.OXYGEN) if one in seen)

    def chart(self, alert: AlertNow, quantity: Quantity, now_ms: int) -> AlertChart:
        """Around the moment of the last forecast that was told, else of the beginning.

        Raises NotFound for a tank that is not there any more.
        """
        told = self._foreseen(alert) if quantity is alert.quantity and alert.outlook is not None else None
        at_ms = alert.raised_ms if told is None else told[0]
        points = fan(told[1], alert.outlook) if told is not None and alert.outlook is not None else ()
        ahead_ms = round(points[-1].after_s * 1000) if points else AFTER_MS
        over_ms = (alert.ended_ms or now_ms) + HOUR_MS
        end_ms = max(at_ms + ahead_ms, min(over_ms, at_ms + MOST_AFTER_MS))
        start_ms = min(alert.since_ms, at_ms) - BEFORE_MS
        start_ms = max(start_ms, at_ms - MOST_AFTER_MS)
        series = self._series(alert, quantity, start_ms, max(start_ms + 1, min(end_ms, now_ms)))
        return AlertChart(series, at_ms, end_ms, points)

    def _foreseen(self, alert: AlertNow) -> tuple[int, float] | None:
        """When and from which value it was foretold; an alert that was kept without it: from the reading of then."""
        if alert.foreseen is not None or alert.tank is None or alert.quantity is None:
            return alert.foreseen
        near = self._read.series(alert.tank, alert.quantity, alert.raised_ms - HOUR_MS, alert.raised_ms + 1, POINTS)
        own = [line for line in near.lines if line.probe == alert.probe]
        values = [(point.time_ms, point.mean) for line in own for point in line.points if point.mean is not None]
        return values[-1] if values else None

    def _series(self, alert: AlertNow, quantity: Quantity, start_ms: int, end_ms: int) -> Series:
        """The tank's lines and the care range that was in force; for the whole room, those of its tanks."""
        plan = self._plan()
        if alert.tank is None:
            each = [self._read.series(tank, quantity, start_ms, end_ms, POINTS // 4) for tank in plan.tanks]
            lines = [line for one in each for line in one.lines if not line.derived][:MOST_LINES]
            return Series("", quantity, each[0].unit if each else "", start_ms, end_ms, None, tuple(lines))
        made = self._read.series(alert.tank, quantity, start_ms, end_ms, POINTS)
        if alert.probe is None or plan.care_then is None:
            return made
        then = plan.in_force(plan.channel(alert.probe, quantity), quantity, alert.since_ms)
        return replace(made, care=then.care)
