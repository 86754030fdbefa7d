"""Care bands behind a chart's line, each with its word, and the range of values worth drawing.

Must not do: know of probes or times.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from api.domain.care import CareRange
from api.services.answers import Series
from dashboard.theme import Theme
from dashboard.units import Lens

Spec = dict[str, Any]
LEAST_SPAN = {"°C": 2.0, "°F": 3.6, "mg/L": 2.0, "%": 20.0}
WORTH_A_WORD = 0.09


def value_range(series: Series, seen: Lens, more: Sequence[float] = ()) -> tuple[float, float]:
    """Lowest and highest shown: all values, and the target band, with a little room around."""
    values = [
        seen.see(value)
        for line in series.lines
        for point in line.points
        for value in (point.low, point.high, point.mean)
        if value is not None
    ]
    values += [seen.see(value) for value in more]
    care = series.care
    if care is not None:
        near = [seen.see(limit) for limit in _near_danger(care, values, seen)]
        ends = (care.target_low, care.target_high, care.tolerable_low, care.tolerable_high)
        values += [seen.see(limit) for limit in ends if limit is not None] + near
    if not values:
        return 0.0, 1.0
    low, high = min(values), max(values)
    room = max(high - low, LEAST_SPAN.get(seen.unit, 0.0) / 2, abs(high) * 0.02, 0.02) * 0.12
    return low - room, high + room


def _near_danger(care: CareRange, values: list[float], seen: Lens) -> list[float]:
    """Danger limits, where the values have left the tolerable band (or the target, if that is all there is)."""
    if not values:
        return []
    near = []
    low = care.tolerable_low if care.tolerable_low is not None else care.target_low
    high = care.tolerable_high if care.tolerable_high is not None else care.target_high
    if care.danger_low is not None and (low is None or min(values) < seen.see(low)):
        near.append(care.danger_low)
    if care.danger_high is not None and (high is None or max(values) > seen.see(high)):
        near.append(care.danger_high)
    return near


def band_shapes(
    care: CareRange | None, seen: Lens, low: float, high: float, theme: Theme
) -> tuple[list[Spec], list[Spec]]:
    """Filled bands and their words, within what is shown."""
    if care is None:
        return [], []
    shapes: list[Spec] = []
    notes: list[Spec] = []

    def fill(word: str, start: float | None, end: float | None, colour: str, opacity: float) -> None:
        bottom = max(low, seen.see(start)) if start is not None else low
        top = min(high, seen.see(end)) if end is not None else high
        if top <= bottom:
            return
        shapes.append(_rectangle(bottom, top, colour, opacity))
        if (top - bottom) / (high - low) >= WORTH_A_WORD:
            notes.append(_word(word, bottom, theme))

    fill("target", care.target_low, care.target_high, theme.target, theme.tint)
    if care.target_low is not None and care.tolerable_low is not None:
        fill("tolerable", care.tolerable_low, care.target_low, theme.tolerable, theme.tint * 0.75)
    if care.target_high is not None and care.tolerable_high is not None:
        fill("tolerable", care.target_high, care.tolerable_high, theme.tolerable, theme.tint * 0.75)
    for limit, below in ((care.danger_low, True), (care.danger_high, False)):
        if limit is not None and low < seen.see(limit) < high:
            fill("danger", None if below else limit, limit if below else None, theme.danger, theme.tint * 1.2)
            shapes.append(_limit(seen.see(limit), theme))
    return shapes, notes


def _rectangle(bottom: float, top: float, colour: str, opacity: float) -> Spec:
    return {
        "type": "rect", "layer": "below", "xref": "paper", "x0": 0, "x1": 1, "yref": "y", "y0": bottom, "y1": top,
        "fillcolor": colour, "opacity": opacity, "line": {"width": 0},
    }  # fmt: skip


def _limit(at: float, theme: Theme) -> Spec:
    return {
        "type": "line", "layer": "below", "xref": "paper", "x0": 0, "x1": 1, "yref": "y", "y0": at, "y1": at,
        "line": {"color": theme.danger, "width": 2, "dash": "dash"},
    }  # fmt: skip


def _word(word: str, at: float, theme: Theme) -> Spec:
    return {
        "text": word, "xref": "paper", "x": 0.005, "xanchor": "left", "yref": "y", "y": at,
        "yanchor": "bottom", "showarrow": False,
        "font": {"size": 11, "color": theme.ink}, "opacity": 0.85,
    }  # fmt: skip
