"""A quantity's chart with two rows of alerts: as the settings are, and as they were moved. Pure.

Must not do: draw the line or the bands anew (``figures.py``).
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from api.domain.care import CareRange
from api.domain.words import KIND_WORDS
from api.services.answers import Series
from api.services.rehearsing import Rehearsed, Rehearsing
from dashboard.figures import SYMBOLS, Spec, figure
from dashboard.theme import Theme
from dashboard.units import Lens
from dashboard.wall_clock import WallClock
from dashboard.words import PRIORITY_WORDS

NOW_AT, MOVED_AT = 0.96, 0.88
LIMITS = ("tolerable_low", "tolerable_high", "danger_low", "danger_high", "target_low", "target_high")


def rehearsal_figure(
    series: Series, one: Rehearsing, seen: Lens, wall: WallClock, theme: Theme, label: str
) -> Spec:  # fmt: skip
    """The figure of one tank; ``series`` holds the care range as it is."""
    made = figure(series, (), seen, wall, theme, label)
    layout = made["layout"]
    for name, alerts, at, dash in (("as now", one.now, NOW_AT, "solid"), ("moved", one.moved, MOVED_AT, "dot")):
        own = [alert for alert in alerts if alert.tank == series.tank and alert.quantity in (series.quantity, None)]
        made["data"] += _row(own, name, at, dash, series, wall, theme)
        layout["annotations"].append(_row_word(name, at, theme))
    for name in LIMITS:
        value = one.wanted.numbers.get(name)
        if value is not None and one.wanted.quantity is series.quantity and _differs(series.care, name, value):
            _draw_limit(layout, name, seen.see(value), theme)
    return made


def _differs(care: CareRange | None, name: str, value: float) -> bool:
    return care is None or getattr(care, name) != value


def _draw_limit(layout: Spec, name: str, at: float, theme: Theme) -> None:
    low, high = layout["yaxis"]["range"]
    room = 0.08 * (high - low)
    layout["yaxis"]["range"] = [min(low, at - room), max(high, at + room)]
    layout["shapes"].append(
        {
            "type": "line", "xref": "paper", "x0": 0, "x1": 1, "yref": "y", "y0": at, "y1": at,
            "line": {"color": theme.ink, "width": 2, "dash": "dashdot"},
        }
    )  # fmt: skip
    layout["annotations"].append(
        {
            "text": f"{name.replace('_', ' ')}, moved", "xref": "paper", "x": 0.995, "xanchor": "right", "yref": "y",
            "y": at, "yanchor": "bottom", "showarrow": False, "font": {"size": 11, "color": theme.ink},
        }
    )  # fmt: skip


def _row_word(name: str, at: float, theme: Theme) -> Spec:
    return {
        "text": name, "xref": "paper", "x": 0.005, "xanchor": "left", "yref": "paper", "y": at, "yanchor": "middle",
        "showarrow": False, "bgcolor": theme.paper, "borderpad": 1, "font": {"size": 11, "color": theme.ink},
    }  # fmt: skip


def _row(
    alerts: Sequence[Rehearsed], name: str, at: float, dash: str, series: Series, wall: WallClock, theme: Theme
) -> list[Spec]:
    """A bar from beginning to end of each, the priority's shape where it begins."""
    xs: list[str | None] = []
    symbols: list[str] = []
    words: list[str] = []
    for one in alerts:
        start, end = max(one.raised_ms, series.start_ms), min(one.ended_ms or series.end_ms, series.end_ms)
        xs += [wall.text(start), wall.text(max(start, end)), None]
        symbols += [SYMBOLS[one.priority], "line-ns", "line-ns"]
        words += [escape(f"{name}: {PRIORITY_WORDS[one.priority]}, {KIND_WORDS[one.kind]}")] * 3
    if not xs:
        return []
    return [
        {
            "type": "scatter", "mode": "lines+markers", "x": xs, "y": [at, at, None] * len(alerts), "yaxis": "y2",
            "showlegend": False, "name": name, "connectgaps": False, "text": words,
            "line": {"color": theme.danger, "width": 3, "dash": dash},
            "marker": {"symbol": symbols, "size": [12, 0, 0] * len(alerts), "color": theme.danger},
            "hovertemplate": "%{text}<extra></extra>",
        }
    ]  # fmt: skip
