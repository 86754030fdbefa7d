"""Two probes that changed places: each now says what the other said until then, and both were moved at about one time.

Pure. Must not do: tell apart tanks that are alike; where both waters were as good as the same, nothing can be seen.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from api.domain.cause import Cause, CauseName
from api.domain.quantity import MEANING, Quantity
from api.judge.channel_watch import ChannelWatch

TOGETHER_MS = 1_800_000
"""Both are cleaned and put back within half an hour (judgement)."""
SETTLED_MS, SEEN_MS = 300_000, 3_600_000
"""A probe has its water's warmth five minutes after it was put in; an hour on heaters have moved both (judgement)."""
APART = {Quantity.TEMPERATURE: 0.6, Quantity.OXYGEN: 0.6}
NEAR = {Quantity.TEMPERATURE: 0.25, Quantity.OXYGEN: 0.3}
"""So far the waters must differ in one quantity, and so near each must be to where the other was in all: twice what
calibration leaves from probe to probe, and what a thermostat's turn adds (judgement). [Cel], [mg/L]"""


Channels = Mapping[tuple[str, Quantity], ChannelWatch]


@dataclass(frozen=True, slots=True)
class Moved:
    """A probe that was moved not long ago: when [ms], what it said before and says now, and what jumped by that."""

    tank: str
    probe: str
    moved_ms: int
    was: Mapping[Quantity, float]
    now: Mapping[Quantity, float]
    jumped: frozenset[Quantity]


def moved(tank: str, channels: Channels, probe: str, now_ms: int) -> Moved | None:
    """Whether a probe was moved within the hour, and has settled since."""
    own = {q: watch for q in APART if (watch := channels.get((probe, q))) is not None}
    jumped = {q: watch for q, watch in own.items() if jumped_lately(watch, now_ms)}
    if not jumped or any(_unsettled(watch, now_ms) for watch in jumped.values()):
        return None
    was = {q: watch.jump_from if q in jumped else watch.approach.level for q, watch in own.items()}
    began_ms = min(watch.away_ms for watch in jumped.values())
    now = {q: watch.approach.level for q, watch in own.items()}
    return Moved(tank, probe, began_ms, was, now, frozenset(jumped))


def jumped_lately(watch: ChannelWatch, now_ms: int) -> bool:
    """Whether a channel jumped within the hour."""
    return watch.away_ms >= 0 and now_ms - watch.away_ms <= SEEN_MS


def _unsettled(watch: ChannelWatch, now_ms: int) -> bool:
    if watch.every_ms >= SETTLED_MS:
        return watch.doubts  # of two such readings the second is the water's
    return watch.doubts or now_ms - watch.disturbed_ms < SETTLED_MS


def still_away(one: Moved, channels: Channels) -> bool:
    """Whether a probe that was swapped says rather what it said after that than what it said before."""
    last = {q: channels[one.probe, q].last for q in one.was if (one.probe, q) in channels}
    apart = [q for q in last if abs(one.now[q] - one.was[q]) >= APART[q] - NEAR[q]]
    return any(abs(last[q] - one.now[q]) < abs(last[q] - one.was[q]) for q in apart)


def swapped(one: Moved, others: Iterable[Moved]) -> tuple[Moved, Cause] | None:
    """The first of the others that stands where this one was, and the other way round, and how that is known."""
    for other in others:
        both = [q for q in APART if q in one.was and q in other.was]
        seen = one.jumped & other.jumped
        apart = [q for q in both if q in seen and abs(one.was[q] - other.was[q]) >= APART[q]]
        if not apart or one.tank == other.tank or abs(one.moved_ms - other.moved_ms) > TOGETHER_MS:
            continue
        if all(_crossed(q, one, other) and _crossed(q, other, one) for q in both):
            told = tuple(_words(apart[0], *pair) for pair in ((one, other), (other, one)))
            return other, Cause(CauseName.PROBES_SWAPPED, 0.9, told)
    return None


def _crossed(quantity: Quantity, one: Moved, other: Moved) -> bool:
    """Whether one stands where the other was. What changed by too little to be seen as a jump can only be near it."""
    seen = quantity in one.jumped and quantity in other.jumped
    return abs(one.now[quantity] - other.was[quantity]) <= (NEAR if seen else APART)[quantity]


def _words(quantity: Quantity, one: Moved, other: Moved) -> str:
    meaning = MEANING[quantity]
    return (
        f"{one.probe} went from {meaning.label} {one.was[quantity]:.1f} to {one.now[quantity]:.1f} {meaning.unit}, "
        f"where {other.probe} in tank {other.tank} had been"
    )
