"""From what a rehearsal told, step by step, to alerts with beginning and end, and when a phone would have heard.

Must not do: rehearse, or send.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from zoneinfo import ZoneInfo

from api.domain.alert import PRIORITY_ORDER, Event, Priority
from api.judge.rota import opens_ms
from api.rehearsal.stepwise import Told
from api.services.plan import RoomPlan
from api.services.rehearsing import Rehearsed


def reached_ms(told: Told, plan: RoomPlan) -> int:
    """When the first phone would have heard of it: quiet hours hold up everything but what is urgent."""
    if not plan.people or told.priority is Priority.URGENT:
        return told.told_ms
    zone = ZoneInfo(plan.room.zone)
    return min(opens_ms(person, told.told_ms, zone) for person in plan.people)


def stood(told: Sequence[Told], plan: RoomPlan, start_ms: int) -> list[Rehearsed]:
    """The alerts that stood at or after a time, in the order they were raised. ``told`` in the order of time."""
    done: list[Rehearsed] = []
    standing: dict[tuple[object, ...], Rehearsed] = {}
    for one in told:
        key = (one.tank, one.kind, one.probe, one.quantity)
        before = standing.pop(key, None)
        if one.event is Event.CLEARED:
            if before is not None:
                done.append(replace(before, ended_ms=one.time_ms))
            continue
        phone = None if one.event is Event.FOUND_LATE else reached_ms(one, plan)
        if before is None:
            standing[key] = Rehearsed(
                one.tank, one.kind, one.probe, one.quantity, one.priority, one.time_ms, phone, None, one.text
            )
            continue
        known = [time_ms for time_ms in (before.phone_ms, phone) if time_ms is not None]
        worse = min(before.priority, one.priority, key=lambda priority: PRIORITY_ORDER[priority])
        standing[key] = replace(before, priority=worse, phone_ms=min(known, default=None))
    done += standing.values()
    kept = [one for one in done if one.ended_ms is None or one.ended_ms >= start_ms]
    return sorted(kept, key=lambda one: (one.raised_ms, str(one.subject)))
