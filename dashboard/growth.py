"""An animal's growth as charts: carapace length over time with its molts, and length after a molt against before.

Must not do: draw a line through lengths that nobody measured.
"""

from __future__ import annotations

from html import escape
from typing import Any

from api.domain.life import Life
from dashboard.clock import Clock
from dashboard.theme import Theme
from dashboard.wall_clock import WallClock

Spec = dict[str, Any]
DAY_MS = 86_400_000


def growth_figure(life: Life, clock: Clock, theme: Theme) -> Spec:
    """Carapace length over time; a mark along the foot for each molt, a bar where it lies between two looks."""
    sizes = [(size.time_ms, size.carapace_mm) for size in life.sizes if size.carapace_mm is not None]
    times = [time for time, _ in sizes] + [molt.first_ms for molt in life.molts]
    start_ms, end_ms = min(times, default=clock.now_ms - DAY_MS), clock.now_ms
    margin_ms = max(DAY_MS, (end_ms - start_ms) // 20)
    wall = WallClock(clock, start_ms - margin_ms, end_ms + margin_ms)
    lengths = [length for _, length in sizes]
    low, high = (min(lengths), max(lengths)) if lengths else (0.0, 1.0)
    pad = max(1.0, (high - low) * 0.2)
    marks: list[str | None] = []
    for molt in life.molts:
        marks += [wall.text(molt.first_ms), wall.text(molt.time_ms), None]
    foot = {"yaxis": "y2", "showlegend": False, "connectgaps": False}
    return {
        "data": [
            {
                "type": "scatter", "mode": "lines+markers", "name": "carapace length",
                "x": [wall.text(time) for time, _ in sizes], "y": lengths,
                "line": {"color": theme.lines[0], "width": 1.5, "dash": "dot", "shape": "linear"},
                "marker": {"symbol": "circle", "size": 9, "color": theme.lines[0]},
                "hovertemplate": "%{y:.1f} mm<extra></extra>",
            },
            {
                **foot, "type": "scatter", "mode": "lines+markers", "name": "molt", "x": marks,
                "y": [0.05, 0.05, None] * len(life.molts), "line": {"color": theme.danger, "width": 3},
                "marker": {"symbol": "line-ns-open", "size": 16, "color": theme.danger, "line": {"width": 3}},
                "hovertemplate": "molt<extra></extra>",
            },
        ],
        "layout": layout(theme) | {
            "xaxis": axis(theme)
            | {"type": "date", "nticks": 5, "range": [wall.text(start_ms - margin_ms), wall.text(end_ms + margin_ms)]},
            "yaxis": axis(theme) | {"range": [low - pad, high + pad], "nticks": 6, "title": {"text": "mm"}},
            "yaxis2": {"overlaying": "y", "range": [0, 1], "visible": False, "fixedrange": True},
            "meta": {"title": "carapace length, mm"},
        },
    }  # fmt: skip


def hiatt_figure(life: Life, clock: Clock, theme: Theme) -> Spec:
    """Carapace length after each molt against before it, with the line on which nothing grows."""
    pairs = life.increments
    lengths = [length for one in pairs for length in (one.before_mm, one.after_mm)]
    low, high = (min(lengths), max(lengths)) if lengths else (0.0, 1.0)
    pad = max(1.0, (high - low) * 0.15)
    span = [low - pad, high + pad]
    words = [escape(f"molt of {clock.moment(one.molt_ms).text}") for one in pairs]
    return {
        "data": [
            {
                "type": "scatter", "mode": "lines", "name": "no growth", "x": span, "y": span, "hoverinfo": "skip",
                "line": {"color": theme.faint, "width": 1.5, "dash": "dash"},
            },
            {
                "type": "scatter", "mode": "markers", "name": "molts", "x": [one.before_mm for one in pairs],
                "y": [one.after_mm for one in pairs], "text": words,
                "marker": {"symbol": "diamond", "size": 10, "color": theme.lines[0]},
                "hovertemplate": "%{text}: %{x:.1f} to %{y:.1f} mm<extra></extra>",
            },
        ],
        "layout": layout(theme) | {
            "xaxis": axis(theme) | {"range": span, "nticks": 6, "title": {"text": "before, mm"}},
            "yaxis": axis(theme) | {"range": span, "nticks": 6, "title": {"text": "after, mm"}},
            "meta": {"title": "carapace length after a molt against before, mm"},
        },
    }  # fmt: skip


def axis(theme: Theme) -> Spec:
    """An axis of these charts."""
    return {
        "gridcolor": theme.faint, "linecolor": theme.faint, "zeroline": False, "fixedrange": True, "griddash": "dot",
    }  # fmt: skip


def layout(theme: Theme) -> Spec:
    """What these charts share."""
    return {
        "paper_bgcolor": theme.paper,
        "plot_bgcolor": theme.paper,
        "font": {"color": theme.ink, "size": 13, "family": "system-ui, sans-serif"},
        "margin": {"l": 54, "r": 10, "t": 12, "b": 46},
        "height": 260,
        "showlegend": False,
        "dragmode": False,
        "hoverlabel": {"bgcolor": theme.paper, "font": {"color": theme.ink}},
    }
