"""What happened at a tank as marks along the foot of its charts: molts, feedings, water changes, moves.

Must not do: carry meaning by colour alone; each kind of mark has its own shape and says its words.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Any

from api.domain.husbandry import KIND_NAMES, MOLTS, EventKind
from api.services.entries import Entry
from dashboard.tank_log import Names
from dashboard.theme import Theme
from dashboard.wall_clock import WallClock

Spec = dict[str, Any]
SYMBOLS = {
    EventKind.FED: "triangle-down",
    EventKind.WATER_CHANGED: "square-open",
    EventKind.CALCIUM: "circle-open",
    EventKind.TESTED: "cross-thin-open",
    EventKind.DIED: "x",
}
MOLT_SYMBOL, OTHER_SYMBOL = "star-diamond", "line-ns-open"


def event_marks(entries: Sequence[Entry], names: Names, wall: WallClock, theme: Theme) -> list[Spec]:
    """One trace for all events that count."""
    standing = [entry.event for entry in entries if entry.standing]
    if not standing:
        return []
    words = []
    for event in standing:
        who = names.animals.get(event.animal, "") if event.animal is not None else ""
        words.append(escape(f"{KIND_NAMES[event.kind]} {who}".strip()))
    symbols = [MOLT_SYMBOL if one.kind in MOLTS else SYMBOLS.get(one.kind, OTHER_SYMBOL) for one in standing]
    return [
        {
            "type": "scatter", "mode": "markers", "name": "events", "yaxis": "y2", "showlegend": False,
            "x": [wall.text(event.time_ms) for event in standing], "y": [0.04] * len(standing), "text": words,
            "marker": {"symbol": symbols, "size": [14 if one.kind in MOLTS else 10 for one in standing],
                       "color": theme.ink, "line": {"width": 1.5, "color": theme.ink}},
            "hovertemplate": "%{text}<extra></extra>",
        }
    ]  # fmt: skip
