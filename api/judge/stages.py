"""When which tank held a soft or berried animal, or young, over the whole of what is known. Pure.

Must not do: say what a stage asks of the water (``soft_stage.py`` and the care ranges do).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from api.domain.life import Life, Molt
from api.judge.soft_stage import soft_until_ms

EVER_MS = 2**62


@dataclass(frozen=True, slots=True)
class StageSpan:
    """A stage in a tank from a time (inside) to a time (outside). [ms]"""

    stage: str
    from_ms: int
    to_ms: int


Spans = Mapping[str, tuple[StageSpan, ...]]


def spans_of(lives: Iterable[Life], exuviae: Iterable[tuple[str, int]] = ()) -> dict[str, tuple[StageSpan, ...]]:
    """Every stage of every animal, by the tank it was in; an animal that moved takes its stage along.

    ``exuviae``: tank and time of those found where nobody knows whose they are. [ms]
    """
    found: dict[str, list[StageSpan]] = {}
    for tank, time_ms in exuviae:
        found.setdefault(tank, []).append(StageSpan("soft", time_ms, soft_until_ms(Molt(time_ms))))
    for life in lives:
        end_ms = EVER_MS if life.died_ms is None else life.died_ms
        for stage, from_ms, to_ms in _stages(life):
            for stay in life.stays:
                until_ms = min(to_ms, end_ms, EVER_MS if stay.until_ms is None else stay.until_ms)
                since_ms = max(from_ms, stay.since_ms)
                if since_ms < until_ms:
                    found.setdefault(stay.tank, []).append(StageSpan(stage, since_ms, until_ms))
    return {tank: tuple(spans) for tank, spans in found.items()}


def _stages(life: Life) -> Iterable[tuple[str, int, int]]:
    for molt in life.molts:
        yield "soft", molt.first_ms, soft_until_ms(molt)
    for clutch in life.clutches:
        over_ms = EVER_MS if clutch.over_ms is None else clutch.over_ms
        if clutch.eggs_ms is not None:
            yield "berried", clutch.eggs_ms, over_ms if clutch.hatched_ms is None else clutch.hatched_ms
        if clutch.hatched_ms is not None:
            yield "with young", clutch.hatched_ms, over_ms


def stages_at(spans: Spans, tank: str, time_ms: int) -> frozenset[str]:
    """The stages in a tank at a time."""
    return frozenset(one.stage for one in spans.get(tank, ()) if one.from_ms <= time_ms < one.to_ms)


def edges_of(spans: Spans, tank: str) -> tuple[int, ...]:
    """When anything changed in a tank. [ms]"""
    return tuple(sorted({edge for one in spans.get(tank, ()) for edge in (one.from_ms, one.to_ms) if edge < EVER_MS}))
