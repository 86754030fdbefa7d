"""Whether a channel is heading out of what its animals bear, sure enough to say so before it is there. Pure.

Must not do: fit (``first_order.py``), or repeat what the fixed limits say already.
"""

from __future__ import annotations

from math import inf

from api.domain.alert import Priority
from api.domain.band import Side
from api.domain.care import CareRange
from api.domain.outlook import NOTHING, Outlook
from api.domain.quantity import Quantity
from api.judge.channel_watch import SETTLE_MS, ChannelWatch

URGENT_WITHIN_H, TODAY_WITHIN_H, TOLERABLE_WITHIN_H = 4.0, 10.0, 3.0
"""Urgent: the danger limit within about four hours; today: within ten, or the tolerable limit within three."""
SURE, UNSURE = 0.75, 0.4
"""Odds that raise, and odds below which it is over."""
LASTS_MS = {Priority.URGENT: 300_000, Priority.TODAY: 900_000}
LOOKS = {Priority.URGENT: 3, Priority.TODAY: 3}
"""How long, and for how many looks, it must be expected: judgement, tuned on the simulated room."""
FAR_APART_MS = 590_000
"""Looks so far apart say more: one less is enough, so that a probe that speaks every ten minutes is not too late."""
CALM_MS = 600_000
QUICKEST_COOLING_K_H = -2.5
"""No tank loses heat faster than 15 K to its room in 6 h; what cools faster is poured, and ends with the can. [K/h]"""
BEYOND_USUAL = {Quantity.TEMPERATURE: 0.3, Quantity.OXYGEN: 0.15, Quantity.OXYGEN_SATURATION: 1.8}
"""A value inside its usual band, or this near to it, is no reason to expect harm."""


class Heading:
    """What one side of one channel is expected to do. ``level`` is raised now; ``since_ms``: since when."""

    __slots__ = ("_calm_ms", "_looks", "_sure_ms", "level", "limit", "since_ms")

    def __init__(self) -> None:
        self.level: Priority | None = None
        self.limit: float | None = None
        self.since_ms = -1
        self._sure_ms: dict[Priority, int] = {}
        self._looks: dict[Priority, int] = {}
        self._calm_ms = -1

    @property
    def idle(self) -> bool:
        """Whether nothing is expected, and no look yet makes it likely."""
        return self.level is None and not self._sure_ms

    def look(self, watch: ChannelWatch, care: CareRange, side: Side, quantity: Quantity) -> None:
        """Take a new look, after a span of readings closed."""
        now_ms = watch.approach.time_ms
        danger, tolerable = limits_of(care, side)
        low, coolest_per_h, beyond = side is Side.LOW, coolest(quantity), BEYOND_USUAL.get(quantity, 0.0)
        passed = tolerable is not None and _passed(watch, tolerable, side)
        odds: dict[Priority, float] = {}
        if moves(watch, low, coolest_per_h):
            if self.level is not None or passed or unusual(watch, low, beyond):
                odds = _odds(watch, danger, tolerable, side)
        if not odds and self.idle:
            self.limit = danger if tolerable is None or passed else tolerable
            return
        for level in (Priority.URGENT, Priority.TODAY):
            if odds.get(level, 0.0) >= SURE:
                self._sure_ms.setdefault(level, now_ms)
                self._looks[level] = self._looks.get(level, 0) + 1
            else:
                self._sure_ms.pop(level, None)
                self._looks.pop(level, None)
        due = next((level for level in (Priority.URGENT, Priority.TODAY) if self._due(level, now_ms)), None)
        if due is not None and self.level is not Priority.URGENT:
            if self.level is None:
                self.since_ms = watch.approach.since_ms
            self.level, self._calm_ms = due, -1
        elif self.level is not None:
            self._hold(max(odds.values(), default=0.0), watch, side)
        self.limit = danger if self.level is Priority.URGENT or tolerable is None else tolerable
        if self.limit is not None and _passed(watch, self.limit, side):
            self.limit = danger

    def jumped(self, watch: ChannelWatch, side: Side) -> None:
        """The value jumped: away from harm ends what was expected, towards it changes nothing."""
        went = watch.last - watch.jump_from
        if went > 0 if side is Side.LOW else went < 0:
            self.level, self._calm_ms = None, -1
            self._sure_ms.clear()
            self._looks.clear()

    def _due(self, level: Priority, now_ms: int) -> bool:
        since_ms = self._sure_ms.get(level)
        if since_ms is None:
            return False
        lasts_ms = now_ms - since_ms
        return self._looks[level] >= LOOKS[level] - (lasts_ms >= FAR_APART_MS) and lasts_ms >= LASTS_MS[level]

    def _hold(self, odds: float, watch: ChannelWatch, side: Side) -> None:
        """Stay until it has looked well for ten minutes; what turned back or jumped is over at once."""
        approach, now_ms = watch.approach, watch.approach.time_ms
        back = approach.slope > 0 if side is Side.LOW else approach.slope < 0
        if back and not approach.steady:
            self.level, self._calm_ms = None, -1
        elif odds >= UNSURE:
            self._calm_ms = -1
        elif self._calm_ms < 0:
            self._calm_ms = now_ms
        elif now_ms - self._calm_ms >= CALM_MS:
            self.level, self._calm_ms = None, -1


def limits_of(care: CareRange, side: Side) -> tuple[float | None, float | None]:
    """Danger and tolerable limit of a side."""
    if side is Side.LOW:
        return care.danger_low, care.tolerable_low
    return care.danger_high, care.tolerable_high


def _passed(watch: ChannelWatch, limit: float, side: Side) -> bool:
    level = watch.approach.level
    return level < limit if side is Side.LOW else level > limit


def coolest(quantity: Quantity) -> float:
    """The steepest fall that is the water's own. [unit/h]"""
    return QUICKEST_COOLING_K_H if quantity is Quantity.TEMPERATURE else -inf


def moves(watch: ChannelWatch, low: bool, coolest_per_h: float) -> bool:
    """Whether the water goes towards a side; not where it is steady, turned back or has just been disturbed."""
    approach = watch.approach
    away = approach.slope < 0 if low else approach.slope > 0
    if not away or approach.slope < coolest_per_h:
        return False
    disturbed = watch.disturbed_ms >= 0 and approach.time_ms - watch.disturbed_ms < SETTLE_MS
    return not disturbed and not approach.steady


def _odds(watch: ChannelWatch, danger: float | None, tolerable: float | None, side: Side) -> dict[Priority, float]:
    """Odds of what makes each priority."""
    approach = watch.approach
    urgent = today = 0.0
    if danger is not None and not _passed(watch, danger, side):
        urgent, today = approach.odds_within(danger, URGENT_WITHIN_H, TODAY_WITHIN_H)
    if tolerable is not None and not _passed(watch, tolerable, side):
        today = max(today, *approach.odds_within(tolerable, TOLERABLE_WITHIN_H))
    return {Priority.URGENT: urgent, Priority.TODAY: today}


def unusual(watch: ChannelWatch, low: bool, beyond: float) -> bool:
    """Whether the water has left its usual band on a side."""
    if not watch.look_usual():
        return watch.approach.time_ms - watch.approach.since_ms > 1_800_000
    least = max(beyond, 2.0 * watch.noise)
    level = watch.approach.level
    return level < watch.usual_low - least if low else level > watch.usual_high + least


def asks(watch: ChannelWatch, low: bool, tolerable: float, coolest_per_h: float, beyond: float) -> bool:
    """Whether a look at a side that expects nothing has to reckon odds. ``tolerable``: infinite where there is none."""
    if not moves(watch, low, coolest_per_h):
        return False
    passed = watch.approach.level < tolerable if low else watch.approach.level > tolerable
    return passed or unusual(watch, low, beyond)


def outlook_of(watch: ChannelWatch, care: CareRange | None) -> Outlook:
    """Slope and time left from the newest reading on; the limit told first is the danger limit, else the tolerable."""
    approach = watch.approach
    if approach.time_ms < 0 or approach.looks < 2:
        return NOTHING
    if approach.steady:
        return Outlook(0.0, None, None, rest=approach.level)
    slope = approach.slope
    if care is None:
        return Outlook(slope, None, None, rest=approach.rest)
    danger, tolerable = limits_of(care, Side.LOW if slope < 0 else Side.HIGH)
    to_danger = approach.time_to(danger, watch.last_ms) if danger is not None else None
    to_tolerable = approach.time_to(tolerable, watch.last_ms) if tolerable is not None else None
    first = to_danger or to_tolerable
    if first is None:
        return Outlook(slope, None, None, rest=approach.rest)
    return Outlook(slope, first.limit, first.left_s, first.low_s, first.high_s, to_danger, to_tolerable, approach.rest)
