"""A tank's quantity over time, never more points than asked for, peaks kept and gaps shown as gaps.

Must not do: draw a line over a time nothing was measured in.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

from api.domain.errors import InputError, NotFound
from api.domain.quantity import MEANING, Quantity
from api.domain.reading import Flag
from api.science.units import from_canonical
from api.services.answers import Series, SeriesLine, SeriesPoint
from api.services.plan import RoomPlan
from api.storage.base import SUMMARY_STEPS_S, Channel, Store

MOST_POINTS = 5000
GAP_READINGS = 3.5
"""A gap is a time without readings longer than this many times the probe's interval."""
PACE, PACE_STEPS, LONGEST_PACE_MS = 1.5, 4, 3_600_000
"""Unless the steps before or after it, so many but one, are about as long, and not longer than an hour: judgement."""


class SeriesMaker:
    """Answers chart questions."""

    def __init__(self, store: Store, plan: Callable[[], RoomPlan]) -> None:
        self._store, self._plan = store, plan

    def series(
        self, tank: str, quantity: Quantity, start_ms: int, end_ms: int, points: int = 1500, unit: str | None = None
    ) -> Series:
        """The tank's lines of one quantity from start to end.

        Raises NotFound for a tank that is not there, InputError for a span or unit that makes no sense.
        """
        plan = self._plan()
        if tank not in plan.tanks:
            raise NotFound(f"there is no tank {tank!r}")
        if not start_ms < end_ms:
            raise InputError("the span's start must lie before its end")
        points = max(10, min(points, MOST_POINTS))
        unit = unit or MEANING[quantity].unit
        shown = from_canonical(quantity, unit)
        care = plan.range_of(plan.tanks[tank], quantity)
        ids = {probe.id: probe.every_s for probe in plan.probes_of(tank)}
        lines = [
            self._line(channel, ids[channel.probe], start_ms, end_ms, points, shown)
            for channel in self._store.readings.channels()
            if channel.probe in ids and channel.quantity is quantity
        ]
        return Series(tank, quantity, unit, start_ms, end_ms, care, tuple(lines))

    def _line(
        self, channel: Channel, every_s: float, start_ms: int, end_ms: int, points: int, shown: Callable[[float], float]
    ) -> SeriesLine:
        span_s, line = 0, []
        count = self._store.readings.count(channel.probe, channel.quantity, start_ms, end_ms, points + 1)
        if count <= points:
            line = with_gaps(self._single(channel, start_ms, end_ms, shown), every_s * GAP_READINGS * 1000)
        if count > points or len(line) > points:
            span_s = span_for((end_ms - start_ms) / 1000, points)
            found = self._spans(channel, start_ms, end_ms, span_s, shown)
            line = with_gaps(found, max(span_s * 1.5, every_s * GAP_READINGS) * 1000)
        return SeriesLine(channel.probe, channel.quantity, channel.derived, span_s, tuple(line))

    def _single(
        self, channel: Channel, start_ms: int, end_ms: int, shown: Callable[[float], float]
    ) -> list[SeriesPoint]:
        out = []
        for time_ms, value, flag in self._store.readings.recent(channel.probe, channel.quantity, start_ms, end_ms):
            kept = shown(value) if value is not None else None
            out.append(SeriesPoint(time_ms, kept, kept, kept, int(flag >= Flag.SUSPECT)))
        return out

    def _spans(
        self, channel: Channel, start_ms: int, end_ms: int, span_s: int, shown: Callable[[float], float]
    ) -> list[SeriesPoint]:
        step_s = max(step for step in SUMMARY_STEPS_S if span_s % step == 0)
        spans = self._store.readings.summaries(channel.probe, channel.quantity, start_ms, end_ms, step_s, span_s * 1000)
        return [
            SeriesPoint(
                span.start_ms + span_s * 500,
                shown(span.mean) if span.mean is not None else None,
                shown(span.low) if span.low is not None else None,
                shown(span.high) if span.high is not None else None,
                span.flagged,
            )
            for span in spans
        ]


def span_for(length_s: float, points: int) -> int:
    """The shortest span, a multiple of a kept summary step, that covers a length in at most ``points`` spans. [s]"""
    for step_s in SUMMARY_STEPS_S:
        times = -(-length_s // (step_s * (points - 1)))
        if times <= SUMMARY_STEPS_S[-1] // step_s or step_s == SUMMARY_STEPS_S[-1]:
            break
    return round(step_s * max(1, times))


def with_gaps(points: list[SeriesPoint], longest_ms: float) -> list[SeriesPoint]:
    """The points with an empty one put wherever more than ``longest_ms`` passed without any.

    A logger that speaks more seldom than the probe that is there now has no gaps while it keeps its own pace.
    """
    steps = [after.time_ms - before.time_ms for before, after in pairwise(points)]
    out = points[:1]
    for place, point in enumerate(points[1:]):
        if steps[place] > longest_ms and not _in_step(steps, place):
            out.append(SeriesPoint((point.time_ms + out[-1].time_ms) // 2, None, None, None, 0))
        out.append(point)
    return out


def _in_step(steps: list[int], place: int) -> bool:
    """Whether the steps before it, or those after it, are as long: then it is the pace of whoever measured then."""
    step = steps[place]
    sides = (steps[max(0, place - PACE_STEPS) : place], steps[place + 1 : place + 1 + PACE_STEPS])
    like = max(sum(step <= PACE * one <= PACE * PACE * step for one in side) for side in sides)
    return step <= LONGEST_PACE_MS and like >= PACE_STEPS - 1
