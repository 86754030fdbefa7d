"""Charts as plain Plotly figure specifications: dictionaries, without importing the heavy Plotly package.

Pure. Must not do: draw a line where nothing was measured, or hide a doubtful reading.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Any

from api.domain.alert import Priority
from api.domain.words import KIND_WORDS
from api.services.answers import AlertNow, Series, SeriesLine
from dashboard.care_bands import band_shapes, value_range
from dashboard.theme import Theme
from dashboard.units import Lens
from dashboard.wall_clock import WallClock
from dashboard.words import PRIORITY_WORDS

Spec = dict[str, Any]
DASHES = ("solid", "dash", "dot", "dashdot")
SYMBOLS = {Priority.URGENT: "diamond", Priority.TODAY: "triangle-up", Priority.NOTE: "circle-open"}
WORTH_SHADING = 0.004
"""Shortest gap, as a share of the window, that is hatched; shorter ones are plain breaks in the line."""


def figure(
    series: Series, alerts: Sequence[AlertNow], seen: Lens, wall: WallClock, theme: Theme, label: str,
    more: Sequence[float] = (),
) -> Spec:  # fmt: skip
    """One quantity's chart. ``seen`` shows values in the keeper's unit, ``wall`` times on the room's clock.

    ``more``: values in the canonical unit that are to have room in it.
    """
    low, high = value_range(series, seen, more)
    traces = [*_gaps(series, wall, theme)]
    for index, line in enumerate(series.lines):
        traces += _line(line, index, len(series.lines) > 1, seen, wall, theme)
    traces += _alerts(alerts, series, wall, theme)
    shapes, notes = band_shapes(series.care, seen, low, high, theme)
    if not any(point.mean is not None for line in series.lines for point in line.points):
        notes.append(_note("no readings in this time", theme))
    return {"data": traces, "layout": _layout(series, low, high, shapes, notes, wall, theme, f"{label} {seen.unit}")}


def _layout(
    series: Series, low: float, high: float, shapes: list[Spec], notes: list[Spec], wall: WallClock, theme: Theme,
    title: str,
) -> Spec:  # fmt: skip
    axis = {
        "gridcolor": theme.faint,
        "linecolor": theme.faint,
        "zeroline": False,
        "fixedrange": True,
        "griddash": "dot",
    }
    window = [wall.text(series.start_ms), wall.text(series.end_ms)]
    return {
        "shapes": shapes,
        "annotations": notes,
        "paper_bgcolor": theme.paper,
        "plot_bgcolor": theme.paper,
        "font": {"color": theme.ink, "size": 13, "family": "system-ui, sans-serif"},
        "margin": {"l": 44, "r": 10, "t": 12, "b": 36},
        "height": 300,
        "showlegend": len(series.lines) > 1,
        "legend": {"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom"},
        "hovermode": "x unified",
        "hoverlabel": {"bgcolor": theme.paper, "font": {"color": theme.ink}},
        "dragmode": False,
        "xaxis": axis | {"type": "date", "range": window, "nticks": 6, "tickformatstops": _tick_formats()},
        "yaxis": axis | {"range": [low, high], "nticks": 6},
        "yaxis2": {"overlaying": "y", "range": [0, 1], "visible": False, "fixedrange": True},
        "meta": {"title": title.strip()},
    }


def _tick_formats() -> list[Spec]:
    return [
        {"dtickrange": [None, 43_200_000], "value": "%H:%M\n%-d %b"},
        {"dtickrange": [43_200_000, None], "value": "%-d %b"},
    ]


def _line(line: SeriesLine, index: int, several: bool, seen: Lens, wall: WallClock, theme: Theme) -> list[Spec]:
    colour = theme.lines[index % len(theme.lines)]
    name = line.probe + (" (derived)" if line.derived else "")
    hover = f"%{{y:.{seen.decimals}f}} {seen.unit}"
    traces: list[Spec] = []
    if line.span_s:
        traces.append(_envelope(line, seen, wall, colour))
    traces.append(
        {
            "type": "scatter",
            "mode": "lines",
            "name": escape(name),
            "x": [wall.text(point.time_ms) for point in line.points],
            "y": [_seen(point.mean, seen) for point in line.points],
            "connectgaps": False,
            "line": {"color": colour, "width": 2, "dash": DASHES[index % len(DASHES)]},
            "hovertemplate": hover + (f" {escape(name)}<extra></extra>" if several else "<extra></extra>"),
        }
    )
    return traces + _flagged(line, seen, wall, theme)


def _envelope(line: SeriesLine, seen: Lens, wall: WallClock, colour: str) -> Spec:
    """Lowest to highest of each span, one closed outline a stretch without gaps."""
    xs: list[str | None] = []
    ys: list[float | None] = []
    stretch: list[tuple[str, float, float]] = []
    for point in (*line.points, None):
        if point is not None and point.low is not None and point.high is not None:
            stretch.append((wall.text(point.time_ms), seen.see(point.low), seen.see(point.high)))
            continue
        if stretch:
            xs += [x for x, _, _ in stretch] + [x for x, _, _ in reversed(stretch)] + [None]
            ys += [low for _, low, _ in stretch] + [high for _, _, high in reversed(stretch)] + [None]
            stretch = []
    return {
        "type": "scatter", "mode": "lines", "x": xs, "y": ys, "fill": "toself", "fillcolor": _clear(colour, 0.25),
        "line": {"width": 0}, "hoverinfo": "skip", "showlegend": False, "name": "lowest to highest",
    }  # fmt: skip


def _flagged(line: SeriesLine, seen: Lens, wall: WallClock, theme: Theme) -> list[Spec]:
    """Doubtful readings get a cross; those without a usable value get theirs at the chart's foot."""
    valued = [point for point in line.points if point.flagged and point.mean is not None]
    bare = [point for point in line.points if point.flagged and point.mean is None]
    marker = {"symbol": "x-thin", "size": 8, "color": theme.flagged, "line": {"color": theme.flagged, "width": 1.5}}
    shared: Spec = {"type": "scatter", "mode": "markers", "showlegend": False, "marker": marker}
    traces = []
    if valued:
        places = {"x": [wall.text(p.time_ms) for p in valued], "y": [_seen(p.mean, seen) for p in valued]}
        traces.append(shared | places | {"name": "flagged", "hovertemplate": "flagged<extra></extra>"})
    if bare:
        places = {"x": [wall.text(p.time_ms) for p in bare], "y": [0.03] * len(bare), "yaxis": "y2"}
        traces.append(shared | places | {"name": "not usable", "hovertemplate": "value not usable<extra></extra>"})
    return traces


def _gaps(series: Series, wall: WallClock, theme: Theme) -> list[Spec]:
    """Times in which no probe measured anything, hatched."""
    least = (series.end_ms - series.start_ms) * WORTH_SHADING
    xs: list[str | None] = []
    ys: list[float | None] = []
    for start, end in gaps_of(series):
        if end - start >= least:
            a, b = wall.text(start), wall.text(end)
            xs += [a, b, b, a, None]
            ys += [0.0, 0.0, 1.0, 1.0, None]
    if not xs:
        return []
    pattern = {"shape": "/", "fgcolor": theme.unknown, "fgopacity": 0.6, "size": 7, "solidity": 0.15}
    return [
        {
            "type": "scatter", "mode": "lines", "x": xs, "y": ys, "yaxis": "y2", "fill": "toself",
            "fillpattern": pattern, "line": {"width": 0}, "name": "not known", "hoverinfo": "skip", "showlegend": False,
        }
    ]  # fmt: skip


def gaps_of(series: Series) -> list[tuple[int, int]]:
    """Spans of time in which no line has a value, from a line's break to its next point."""
    covered = sorted(span for line in series.lines for span in _stretches(line))
    gaps, at = [], series.start_ms
    for start, end in covered:
        if start > at:
            gaps.append((at, start))
        at = max(at, end)
    if at < series.end_ms:
        gaps.append((at, series.end_ms))
    return gaps


def _stretches(line: SeriesLine) -> list[tuple[int, int]]:
    """Stretches of points without a gap; a span's point stands for all of its span."""
    half = line.span_s * 500
    found: list[tuple[int, int]] = []
    open_now = False
    for point in line.points:
        if point.mean is None:
            open_now = False
        elif open_now:
            found[-1] = (found[-1][0], point.time_ms + half)
        else:
            found.append((point.time_ms - half, point.time_ms + half))
            open_now = True
    return found


def _alerts(alerts: Sequence[AlertNow], series: Series, wall: WallClock, theme: Theme) -> list[Spec]:
    """Alerts along the top, a trace a priority: a bar from beginning to end, the priority's shape at its start."""
    inside = [a for a in alerts if a.since_ms < series.end_ms and (a.ended_ms or series.end_ms) > series.start_ms]
    traces: list[Spec] = []
    for priority, symbol in SYMBOLS.items():
        xs: list[str | None] = []
        words: list[str] = []
        for alert in (one for one in inside if one.priority is priority):
            start, end = max(alert.since_ms, series.start_ms), min(alert.ended_ms or series.end_ms, series.end_ms)
            xs += [wall.text(start), wall.text(end), None]
            words += [escape(f"{PRIORITY_WORDS[priority]}: {KIND_WORDS[alert.kind]}")] * 3
        if xs:
            number = len(xs) // 3
            traces.append(
                {
                    "type": "scatter", "mode": "lines+markers", "x": xs, "y": [0.95, 0.95, None] * number,
                    "yaxis": "y2", "showlegend": False, "name": PRIORITY_WORDS[priority], "connectgaps": False,
                    "line": {"color": theme.danger, "width": 3}, "text": words,
                    "marker": {"symbol": [symbol, "line-ns", "line-ns"] * number, "size": [12, 0, 0] * number,
                               "color": theme.danger},
                    "hovertemplate": "%{text}<extra></extra>",
                }
            )  # fmt: skip
    return traces


def _note(text: str, theme: Theme) -> Spec:
    return {
        "text": text, "xref": "paper", "yref": "paper", "x": 0.5, "y": 0.5, "showarrow": False,
        "bgcolor": theme.paper, "borderpad": 4, "font": {"color": theme.ink},
    }  # fmt: skip


def _seen(value: float | None, seen: Lens) -> float | None:
    return None if value is None else round(seen.see(value), 4)


def _clear(colour: str, alpha: float) -> str:
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red},{green},{blue},{alpha})"
