"""What is odd about the people a room file names, beyond its form. Must not do: refuse anything; it warns."""

from __future__ import annotations

from api.judge.rota import in_hours, local_of
from api.services.addresses import addresses, zone_of
from api.services.links import address_of
from api.services.plan import RoomPlan

WEEK_MS, HOUR_MS = 7 * 86_400_000, 3_600_000
A_MONDAY_MS = 1_789_948_800_000
"""2026-09-21T00:00Z, a Monday without a change of clocks around it in most zones. [ms]"""


def people_warnings(plan: RoomPlan) -> tuple[str, ...]:
    """What a keeper should know before the first night."""
    found: list[str] = []
    targets = addresses(plan)
    if not targets:
        found.append(
            "Nobody is told of alerts: add a person on the page People, or a [[person]] or [[notify]] in room.toml."
        )
        return tuple(found)
    if len(targets) == 1:
        found.append("There is one channel only: when it fails, nobody is told. Give a second channel or person.")
    if len(plan.people) == 1:
        found.append(f"[[person]]: {plan.people[0].name} is the only one; nobody is told when they do not answer.")
    clash = sorted({notify.name for notify in plan.notify} & {t for p in plan.people for t in _own(p.name, p.channels)})
    if clash:
        found.append(f"[[notify]] name = {clash[0]!r} is also what a person's channel is called; give it another name.")
    if not address_of(plan):
        found.append(
            "Messages will carry no link to answer by: set address in [room.service] to where phones reach the pages."
        )
    gap_h, example = _longest_gap(plan)
    if plan.people and gap_h > 24:
        found.append(
            f"Nobody is in their hours for {gap_h} h (from {example}): until then only urgent alerts are told."
        )
    return tuple(found)


def _own(name: str, channels: tuple[str, ...]) -> list[str]:
    return [f"{name}, channel {number + 1}" for number in range(len(channels))]


def _longest_gap(plan: RoomPlan) -> tuple[int, str]:
    """The longest time in a week in which nobody is in their hours, and when it begins. [h]"""
    zone = zone_of(plan)
    hours = range(A_MONDAY_MS, A_MONDAY_MS + 2 * WEEK_MS, HOUR_MS)
    longest, run, start = 0, 0, A_MONDAY_MS
    best = start
    for hour_ms in hours:
        if any(in_hours(person, hour_ms, zone) for person in plan.people):
            run = 0
            continue
        start = hour_ms if run == 0 else start
        run += 1
        if run > longest:
            longest, best = run, start
    return longest, f"{local_of(best, zone):%A %H:%M}"
