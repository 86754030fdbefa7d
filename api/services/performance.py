"""How the alerts did over some weeks, beside the figures of the alarm standards and of on-call practice.

Must not do: change a limit or a delay; what to do about a figure is said in words.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from api.domain.alert import AlertKind, Event, Priority
from api.domain.quantity import Quantity
from api.judge.performance import ASKED_DAYS, Activation, Performance, Standing, performance
from api.judge.rota import local_of, moment_ms
from api.services.plan import RoomPlan
from api.storage.base import Store
from api.storage.history_base import AlertStepRow, StoodRow

__all__ = ["ASKED_DAYS", "Offender", "Performance", "PerformanceNow", "Performances"]
DAY_MS = 86_400_000
MOST_DAYS = 366
NIGHT_FROM_MIN, NIGHT_H = 1200, 12
"""A night shift: 20:00 to 08:00."""
STEPS = (Event.RAISED, Event.RETURNED, Event.CLEARED, Event.ACKNOWLEDGED)


@dataclass(frozen=True, slots=True)
class Offender:
    """One subject and how often it came; ``alert`` is its newest alert."""

    tank: str | None
    kind: AlertKind
    probe: str | None
    quantity: Quantity | None
    count: int
    alert: int


@dataclass(frozen=True, slots=True)
class PerformanceNow:
    """The figures from ``start_ms`` to ``end_ms``; ``days`` are the dates of ``figures.per_day``.

    ``possible``: how many different alerts this room can raise. ``stale``: those that stand for more than a day now.
    """

    start_ms: int
    end_ms: int
    days: tuple[date, ...]
    figures: Performance
    possible: int
    top: tuple[Offender, ...]
    chattering: tuple[Offender, ...]
    stale: tuple[Offender, ...]


class Performances:
    """Answers the page."""

    def __init__(self, store: Store, plan: Callable[[], RoomPlan]) -> None:
        self._store, self._plan = store, plan

    def over(self, days: int, now_ms: int) -> PerformanceNow:
        """The last days up to now, as far back as the room is known."""
        plan = self._plan()
        zone = ZoneInfo(plan.room.zone)
        start_ms = max(now_ms - max(1, min(days, MOST_DAYS)) * DAY_MS, self._since_ms(now_ms))
        edges, dates = _days(start_ms, now_ms, zone)
        rows = self._store.history.stood(start_ms, now_ms)
        came = _activations(self._store.history.steps(start_ms, now_ms, STEPS))
        stood = [Standing(row.alert, row.raised_ms, row.ended_ms) for row in rows if not row.found_late]
        figures = performance(came, stood, edges, _nights(start_ms, now_ms, zone))
        newest = {row.subject: row for row in rows}
        by_number = {row.alert: row for row in rows}
        return PerformanceNow(
            start_ms=start_ms,
            end_ms=now_ms,
            days=dates,
            figures=figures,
            possible=_possible(plan),
            top=_offenders(figures.top, newest),
            chattering=_offenders(figures.chattering, newest),
            stale=tuple(_offender(by_number[one], 1) for one in figures.stale_now),
        )

    def _since_ms(self, now_ms: int) -> int:
        """Since when the room is known here. [ms]"""
        return min([one.from_ms for one in self._store.care.versions()], default=now_ms - DAY_MS)


def _days(start_ms: int, end_ms: int, zone: ZoneInfo) -> tuple[list[int], tuple[date, ...]]:
    """The start, the room's midnights, the end; and the dates between them."""
    day, edges = local_of(start_ms, zone).date(), [start_ms]
    dates = [day]
    while True:
        day += timedelta(days=1)
        midnight_ms = moment_ms(day, 0, zone)
        if midnight_ms >= end_ms:
            break
        if midnight_ms > edges[-1]:
            edges.append(midnight_ms)
            dates.append(day)
    return [*edges, max(end_ms, edges[-1] + 1)], tuple(dates)


def _nights(start_ms: int, end_ms: int, zone: ZoneInfo) -> list[tuple[int, int]]:
    """Night shifts that begin inside the time and have ended. [ms]"""
    day, last = local_of(start_ms, zone).date(), local_of(end_ms, zone).date()
    found = []
    while day <= last:
        begin_ms = moment_ms(day, NIGHT_FROM_MIN, zone)
        if begin_ms >= start_ms and begin_ms + NIGHT_H * 3_600_000 <= end_ms:
            found.append((begin_ms, begin_ms + NIGHT_H * 3_600_000))
        day += timedelta(days=1)
    return found


def _activations(steps: Sequence[AlertStepRow]) -> list[Activation]:
    """Each "raised" with the end and the acknowledgement that followed it."""
    found: list[Activation] = []
    waiting: dict[int, tuple[AlertStepRow, int | None]] = {}

    def close(alert: int, over_ms: int | None) -> None:
        row, acknowledged_ms = waiting.pop(alert)
        found.append(Activation(row.time_ms, row.subject, Priority(row.priority), over_ms, acknowledged_ms))

    for step in steps:
        if step.event == Event.RAISED:
            if step.alert in waiting:
                close(step.alert, None)
            waiting[step.alert] = (step, None)
        elif step.alert in waiting:
            row, acknowledged_ms = waiting[step.alert]
            if step.event == Event.ACKNOWLEDGED:
                waiting[step.alert] = (row, step.time_ms if acknowledged_ms is None else acknowledged_ms)
            else:
                close(step.alert, step.time_ms)
    for alert in list(waiting):
        close(alert, None)
    return found


def _possible(plan: RoomPlan) -> int:
    """Different alerts the room's description can raise: by its limits, not known, quiet, and those of the room."""
    channels = [
        plan.channel(probe.id, value.quantity) for probe in plan.probes.values() if probe.tank for value in probe.values
    ]
    changes = sum(
        (one.care.change_per_hour is not None) + (one.care.change_per_day is not None)
        for one in channels
        if one.care is not None
    )
    own = sum(len(one.kinds) + 1 for one in channels) + changes
    return own + sum(probe.tank is not None for probe in plan.probes.values()) + len(plan.tanks) * 2 + 5


def _offenders(counted: Sequence[tuple[str, int]], newest: dict[str, StoodRow]) -> tuple[Offender, ...]:
    return tuple(_offender(newest[subject], count) for subject, count in counted if subject in newest)


def _offender(row: StoodRow, count: int) -> Offender:
    quantity = Quantity(row.quantity) if row.quantity else None
    return Offender(row.tank, AlertKind(row.kind), row.probe, quantity, count, row.alert)
