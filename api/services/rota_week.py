"""The rota of the week ahead: whose hours it is, and who is called first for what is urgent. Must not do: keep it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

from api.domain.alert import Priority
from api.domain.people import DAY_MIN
from api.judge.rota import in_hours, local_of, moment_ms, order_now
from api.services.addresses import wanting, zone_of
from api.services.plan import RoomPlan

STEP_MIN = 15
DAYS = 7


@dataclass(frozen=True, slots=True)
class Turn:
    """A stretch of a day, in minutes from its midnight: who is called first, and everybody in their hours."""

    from_min: int
    to_min: int
    first: str
    there: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RotaDay:
    """One day's turns."""

    day: date
    turns: tuple[Turn, ...]


class RotaWeek:
    """Answers the People page."""

    def __init__(self, plan: Callable[[], RoomPlan]) -> None:
        self._plan = plan

    def week(self, now_ms: int) -> tuple[RotaDay, ...]:
        """Seven days from today on; nothing where there are no people."""
        plan = self._plan()
        if not plan.people:
            return ()
        today = local_of(now_ms, zone_of(plan)).date()
        return tuple(self._day(plan, today + timedelta(days=ahead)) for ahead in range(DAYS))

    def _day(self, plan: RoomPlan, day: date) -> RotaDay:
        zone, urgent = zone_of(plan), wanting(plan, Priority.URGENT)
        turns: list[Turn] = []
        for minute in range(0, DAY_MIN, STEP_MIN):
            at_ms = moment_ms(day, minute, zone)
            first = next(iter(order_now(urgent, at_ms, zone)), "")
            there = tuple(one.name for one in plan.people if in_hours(one, at_ms, zone))
            if turns and (turns[-1].first, turns[-1].there) == (first, there):
                turns[-1] = Turn(turns[-1].from_min, minute + STEP_MIN, first, there)
            else:
                turns.append(Turn(minute, minute + STEP_MIN, first, there))
        return RotaDay(day, tuple(turns))
