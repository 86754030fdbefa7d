"""One quantity of one tank over a night: how far it went, how long outside its target, how much it drifted. Pure.

Must not do: count readings that failed their checks (they are in no span), or fill gaps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from api.domain.band import SEVERITY, Band, Side
from api.domain.care import CareRange
from api.judge.assess import assess

HOUR_MS = 3_600_000
WORTH_SAYING_S = 600.0
"""Outside its target for less is not said: judgement. [s]"""
DRIFT_SHARE = 0.5
"""A change over the night of this share of what a day may bring is called drift: judgement. [1]"""
LONG_GAP_S = 3600.0
"""A night with so long a time without a believable reading is not called well: judgement. [s]"""
Span = tuple[int, float, float, float]
"""A span: start [ms], mean, lowest and highest believable value."""


@dataclass(frozen=True, slots=True)
class Outside:
    """How long the water was outside its target on one side, beyond the tolerable limit, in danger; and how far. [s]"""

    side: Side
    worst_band: Band
    for_s: float
    beyond_s: float
    danger_s: float
    extreme: float
    extreme_ms: int
    first_ms: int
    last_ms: int


@dataclass(frozen=True, slots=True)
class NightWater:
    """One night. ``change``: the last known hour's mean less the first one's; ``drifted``: that is much.

    ``known``: the share of the night with believable readings [1]; ``gap_s``: the longest time without one.
    """

    low: float
    high: float
    mean: float
    change: float
    drifted: bool
    outside: tuple[Outside, ...]
    known: float
    gap_s: float

    @property
    def worst(self) -> Band:
        """The worst band it was in for long enough to be said; with a long gap at least UNKNOWN."""
        least = Band.UNKNOWN if self.gap_s >= LONG_GAP_S else Band.TARGET
        return max((least, *(one.worst_band for one in self.outside)), key=SEVERITY.__getitem__)


def night_of(
    spans: Sequence[Span], care: CareRange | None, start_ms: int, end_ms: int, span_ms: int
) -> NightWater | None:
    """The night from start (inside) to end (outside); None where nothing is known. ``spans`` in the order of time.

    Raises ValueError for a night that does not go on.
    """
    if end_ms <= start_ms:
        raise ValueError("the night ends before it begins")
    if not spans:
        return None
    begin_ms, finish_ms = spans[0][0], spans[-1][0] + span_ms
    first = [mean for at, mean, _, _ in spans if at < begin_ms + HOUR_MS]
    last = [mean for at, mean, _, _ in spans if at >= finish_ms - HOUR_MS]
    change = sum(last) / len(last) - sum(first) / len(first) if finish_ms - begin_ms >= 2 * HOUR_MS else 0.0
    allowed = care.change_per_day if care is not None else None
    sides = (_outside(spans, care, side, span_ms) for side in (Side.LOW, Side.HIGH)) if care is not None else ()
    edges = [start_ms, *(edge for at, *_ in spans for edge in (at, at + span_ms)), end_ms]
    return NightWater(
        low=min(low for _, _, low, _ in spans),
        high=max(high for _, _, _, high in spans),
        mean=sum(mean for _, mean, _, _ in spans) / len(spans),
        change=change,
        drifted=allowed is not None and abs(change) >= DRIFT_SHARE * allowed,
        outside=tuple(one for one in sides if one is not None and one.for_s >= WORTH_SAYING_S),
        known=min(1.0, len(spans) * span_ms / (end_ms - start_ms)),
        gap_s=max(0, *(after - before for before, after in zip(edges[::2], edges[1::2], strict=True))) / 1000.0,
    )


def _outside(spans: Sequence[Span], care: CareRange, side: Side, span_ms: int) -> Outside | None:
    judged = [(at, low if side is Side.LOW else high, assess(mean, care)) for at, mean, low, high in spans]
    mine = [(at, extreme, found.band) for at, extreme, found in judged if found.side is side]
    if not mine:
        return None
    bands = [band for _, _, band in mine]
    pick = min if side is Side.LOW else max
    at_ms, extreme, _ = pick(mine, key=lambda one: one[1])
    span_s = span_ms / 1000.0
    return Outside(
        side=side,
        worst_band=max(bands, key=SEVERITY.__getitem__),
        for_s=len(mine) * span_s,
        beyond_s=bands.count(Band.OUTSIDE) * span_s + bands.count(Band.DANGER) * span_s,
        danger_s=bands.count(Band.DANGER) * span_s,
        extreme=extreme,
        extreme_ms=at_ms,
        first_ms=mine[0][0],
        last_ms=mine[-1][0] + span_ms,
    )
