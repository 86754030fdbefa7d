"""How the alerts themselves do: how many, how bunched, which come again and again, which never end. Pure.

The figures are those of ANSI/ISA-18.2-2016 clause 16.4, from a public summary of it, and IEC 62682:2014 for a day. They
are meant for one operator at a desk; for a phone at night there is the figure of on-call practice. Must not do: judge
water, or read a clock.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from api.domain.alert import Priority

MINUTE_MS, DAY_MS = 60_000, 86_400_000
SLOT_MS = 10 * MINUTE_MS
FLOOD_BEGINS, FLOOD_ENDS = 10, 5
"""A flood begins with more than so many in ten minutes and ends with fewer than so many (ISA-18.2)."""
REPEATS, REPEAT_SPAN_MS = 3, 30 * MINUTE_MS
"""Chattering for slow probes: so many activations in half an hour. The usual three a minute is for quick ones."""
FLEETING_MS = MINUTE_MS
STALE_MS = DAY_MS
TOP = 10
ASKED_DAYS = 30
"""The standard asks for so many days of data."""


@dataclass(frozen=True, slots=True)
class Activation:
    """One alert that came: when, of what, how urgent it became; when it was over and acknowledged, if it was. [ms]"""

    time_ms: int
    subject: str
    priority: Priority
    over_ms: int | None = None
    acknowledged_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Standing:
    """An alert that stood from a time to a time; None: it still does. [ms]"""

    alert: int
    from_ms: int
    to_ms: int | None


@dataclass(frozen=True, slots=True)
class Performance:
    """What came within a time. ``days`` may be a part of one; shares are of 1, None where nothing came.

    ``per_day``: how many on each day between ``edges_ms``. ``flood``: share of time in a flood. ``crowded``: share of
    ten-minute slots with more than ten. ``top``: the most frequent subjects; ``top_share`` their part of all.
    ``urgent_nights``: urgent ones in each night. ``answered_s``: median time to the acknowledgement of urgent ones.
    """

    days: float
    total: int
    mean_per_day: float
    per_day: tuple[int, ...]
    most_in_slot: int
    crowded: float
    flood: float
    chattering: tuple[tuple[str, int], ...]
    fleeting: int
    stale_most: int
    stale_now: tuple[int, ...]
    top: tuple[tuple[str, int], ...]
    top_share: float | None
    split: tuple[tuple[Priority, float | None], ...]
    urgent_nights: tuple[int, ...]
    answered_s: float | None


def performance(
    came: Sequence[Activation],
    stood: Sequence[Standing],
    edges_ms: Sequence[int],
    nights_ms: Sequence[tuple[int, int]],
) -> Performance:
    """The figures of a time from ``edges_ms[0]`` to ``edges_ms[-1]``, whose others are the midnights between.

    Raises ValueError for edges that do not rise.
    """
    if len(edges_ms) < 2 or any(after <= before for before, after in pairwise(edges_ms)):
        raise ValueError("the edges of the days must rise")
    start_ms, end_ms = edges_ms[0], edges_ms[-1]
    inside = sorted((one for one in came if start_ms <= one.time_ms < end_ms), key=lambda one: one.time_ms)
    times = [one.time_ms for one in inside]
    days = (end_ms - start_ms) / DAY_MS
    slots = Counter((time_ms - start_ms) // SLOT_MS for time_ms in times)
    counts = Counter(one.subject for one in inside)
    top = tuple(counts.most_common(TOP))
    urgent = [one for one in inside if one.priority is Priority.URGENT]
    answered = [one.acknowledged_ms - one.time_ms for one in urgent if one.acknowledged_ms is not None]
    return Performance(
        days=days,
        total=len(inside),
        mean_per_day=len(inside) / days,
        per_day=tuple(_between(times, a, b) for a, b in pairwise(edges_ms)),
        most_in_slot=_most_within(times, SLOT_MS),
        crowded=sum(count > FLOOD_BEGINS for count in slots.values()) / max(1, -(-(end_ms - start_ms) // SLOT_MS)),
        flood=_flood_ms(times, start_ms, end_ms) / (end_ms - start_ms),
        chattering=_chattering(inside),
        fleeting=sum(one.over_ms is not None and one.over_ms - one.time_ms <= FLEETING_MS for one in inside),
        stale_most=max(_stale(stood, a, b) for a, b in pairwise(edges_ms)),
        stale_now=tuple(one.alert for one in stood if one.to_ms is None and end_ms - one.from_ms > STALE_MS),
        top=top,
        top_share=sum(count for _, count in top) / len(inside) if inside else None,
        split=tuple((one, _share(inside, one)) for one in Priority),
        urgent_nights=tuple(_between([one.time_ms for one in urgent], a, b) for a, b in nights_ms),
        answered_s=median(answered) / 1000.0 if answered else None,
    )


def _between(times: Sequence[int], start_ms: int, end_ms: int) -> int:
    return bisect_left(times, end_ms) - bisect_left(times, start_ms)


def _share(came: Sequence[Activation], priority: Priority) -> float | None:
    return sum(one.priority is priority for one in came) / len(came) if came else None


def _most_within(times: Sequence[int], span_ms: int) -> int:
    """The most within any span of a length."""
    return max((bisect_left(times, time_ms + span_ms) - place for place, time_ms in enumerate(times)), default=0)


def _chattering(came: Sequence[Activation]) -> tuple[tuple[str, int], ...]:
    """Subjects that came too often within a short time, with the most that came in one."""
    by_subject: dict[str, list[int]] = {}
    for one in came:
        by_subject.setdefault(one.subject, []).append(one.time_ms)
    most = {subject: _most_within(times, REPEAT_SPAN_MS) for subject, times in by_subject.items()}
    found = [(subject, count) for subject, count in most.items() if count >= REPEATS]
    return tuple(sorted(found, key=lambda one: -one[1]))


def _flood_ms(times: Sequence[int], start_ms: int, end_ms: int) -> int:
    """Time in floods, looked at slot by slot. [ms]"""
    slots = Counter((time_ms - start_ms) // SLOT_MS for time_ms in times)
    total_ms, flooded = 0, False
    for slot in range(-(-(end_ms - start_ms) // SLOT_MS)):
        count = slots.get(slot, 0)
        flooded = count > FLOOD_BEGINS or (flooded and count >= FLOOD_ENDS)
        if flooded:
            total_ms += min(SLOT_MS, end_ms - start_ms - slot * SLOT_MS)
    return total_ms


def _stale(stood: Sequence[Standing], start_ms: int, end_ms: int) -> int:
    """How many were stale at the same day: they had stood for more than 24 hours when it ended, or when they did."""
    return sum(
        min(end_ms, one.to_ms if one.to_ms is not None else end_ms) - one.from_ms > STALE_MS
        for one in stood
        if one.from_ms < end_ms and (one.to_ms is None or one.to_ms > start_ms)
    )
