"""The ladder of one alert: who is told next and when, until somebody acknowledges. A pure step at a time.

Rungs: the first person; the same again and by every channel; the second person; the third and everyone. An urgent
alert's last rung comes again and again. Must not do: read a clock, write words, or know an address.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from api.domain.alert import Priority
from api.domain.people import LadderSettings

MINUTE_MS = 60_000
ON_TIME_MS = 60_000
"""A rung told this much after its time still counts from its time. [ms]"""
FIRST, AGAIN, SECOND, EVERYONE = range(4)


@dataclass(frozen=True, slots=True)
class Ladder:
    """How far the telling of one alert is.

    ``rung``: rungs told in this climb, which began at ``began_ms``; ``next_ms``: when the next one is due, None while
    the ladder rests. ``tells`` counts every telling; ``passed`` is the one that reached nobody. An acknowledgement by
    ``going`` rests the ladder until ``until_ms`` (None: for good). ``lead`` is said with the next telling: why it
    comes. ``over``: the alert has ended, the all-clear is still due.
    """

    alert: int
    priority: Priority = Priority.TODAY
    order: tuple[str, ...] = ()
    rung: int = 0
    began_ms: int = 0
    next_ms: int | None = None
    tells: int = 0
    declined: tuple[str, ...] = ()
    going: str = ""
    until_ms: int | None = None
    acknowledged_ms: int | None = None
    lead: str = ""
    passed: int = 0
    over: bool = False

    def body(self) -> dict[str, Any]:
        """As it is kept."""
        return {name: getattr(self, name) for name in Ladder.__slots__ if name not in ("alert", "next_ms")}

    @staticmethod
    def of(alert: int, next_ms: int | None, body: Mapping[str, Any]) -> Ladder:
        """As it was kept; what was kept before a name was added has its default."""
        known = {name: value for name, value in body.items() if name in Ladder.__slots__}
        for name in ("order", "declined"):
            known[name] = tuple(known.get(name, ()))
        known["priority"] = Priority(known.get("priority", Priority.TODAY))
        return Ladder(alert=alert, next_ms=next_ms, **known)


@dataclass(frozen=True, slots=True)
class Rung:
    """Who is told by one rung: people in order, by every channel or by their first; ``all``: room addresses too."""

    people: tuple[str, ...]
    every_channel: bool
    all: bool = False


def begin(ladder: Ladder, priority: Priority, order: Sequence[str], now_ms: int, lead: str = "") -> Ladder:
    """A climb begins, the first rung at once."""
    return replace(
        ladder, priority=priority, order=tuple(order), rung=FIRST, began_ms=now_ms, next_ms=now_ms, declined=(),
        going="", until_ms=None, acknowledged_ms=None, lead=lead, over=False,
    )  # fmt: skip


def rung_of(ladder: Ladder) -> Rung:
    """Who is told by the rung that comes next."""
    willing = tuple(name for name in ladder.order if name not in ladder.declined) or ladder.order
    if ladder.rung == FIRST:
        return Rung(willing[:1], every_channel=False)
    if ladder.rung == AGAIN:
        return Rung(willing[:1], every_channel=True)
    if ladder.rung == SECOND:
        # whoever declined is left out already, so the next one is the first of those who remain
        return Rung(willing[:1] if ladder.declined else willing[1:2] or willing[:1], every_channel=True)
    return Rung(willing, every_channel=True, all=True)


def told(ladder: Ladder, settings: LadderSettings, now_ms: int) -> Ladder:
    """The rung that was due has been told; the next one waits for its time."""
    after = settings.after_min(ladder.priority)
    rung = ladder.rung + 1
    if rung < len(after):
        gap_min: float | None = after[rung] - after[rung - 1]
    else:
        gap_min = settings.repeat_min if ladder.priority is Priority.URGENT else None
    due_ms = now_ms if ladder.next_ms is None else ladder.next_ms
    from_ms = due_ms if abs(now_ms - due_ms) <= ON_TIME_MS else now_ms
    return replace(
        ladder,
        # one above the last: everyone was told, and nobody is left to climb to
        rung=min(rung, EVERYONE + 1) if gap_min is not None else rung,
        next_ms=None if gap_min is None else from_ms + round(gap_min * MINUTE_MS),
        tells=ladder.tells + 1,
        lead="",
    )


def climbs_left(ladder: Ladder, settings: LadderSettings) -> bool:
    """Whether a rung is still to come that tells somebody else or by other means."""
    more = ladder.rung < len(settings.after_min(ladder.priority))
    return more and ladder.next_ms is not None and ladder.passed < ladder.tells


def at_once(ladder: Ladder, now_ms: int, lead: str) -> Ladder:
    """The next rung need not wait: the last one reached nobody."""
    return replace(ladder, next_ms=now_ms, lead=lead, passed=ladder.tells)


def decline(ladder: Ladder, person: str, now_ms: int, lead: str) -> Ladder:
    """A person cannot go: the next one is told at once, by every channel."""
    declined = ladder.declined if person in ladder.declined or not person else (*ladder.declined, person)
    return replace(
        ladder, declined=declined, rung=max(ladder.rung, SECOND), next_ms=now_ms, lead=lead, going="", until_ms=None,
        acknowledged_ms=None,
    )  # fmt: skip


def rest(ladder: Ladder, person: str, now_ms: int, until_ms: int | None) -> Ladder:
    """Somebody has acknowledged: nobody is told until the acknowledgement runs out."""
    return replace(ladder, next_ms=None, going=person, until_ms=until_ms, acknowledged_ms=now_ms, lead="")


def silent(ladder: Ladder) -> Ladder:
    """What stands again is not told for now; that it is over still is due to all who were told."""
    return replace(ladder, next_ms=None, going="", until_ms=None, acknowledged_ms=None, lead="", over=False)


def holds_until_ms(priority: Priority, settings: LadderSettings, acknowledged_ms: int) -> int | None:
    """How long an acknowledgement holds; None: until the alert is over, for what is not urgent. [ms]"""
    if priority is not Priority.URGENT:
        return None
    return acknowledged_ms + round(settings.acknowledged_min * MINUTE_MS)


def has_run_out(ladder: Ladder, now_ms: int) -> bool:
    """Whether an acknowledgement no longer holds."""
    return ladder.until_ms is not None and now_ms >= ladder.until_ms


def first_goes(order: Sequence[str], person: str) -> tuple[str, ...]:
    """The order with one person first: whoever said they would see to it is asked first."""
    return (person, *(name for name in order if name != person)) if person in order else tuple(order)
