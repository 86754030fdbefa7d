"""The route of the molt calendar. Must not do: format (``calendar_view.py``) or decide."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from dashboard import render
from dashboard.calendar_view import cluster_line, columns, rows, ticks
from dashboard.colony import colony
from dashboard.forecast import percent
from dashboard.visit import Visit, visit

MOST_TANKS = 500
router = APIRouter(include_in_schema=False)


@router.get("/calendar")
def get_calendar(request: Request, tank: Annotated[list[str] | None, Query(max_length=MOST_TANKS)] = None) -> Response:
    """Molts in the three weeks ahead, of all animals or of some tanks'."""
    here = visit(request)
    return render.page("calendar.html", calendar_context(here, tank or []), 200)


def calendar_context(here: Visit, asked: list[str]) -> dict[str, Any]:
    """What the page needs."""
    tanks = sorted((now.tank.name or now.tank.id, now.tank.id) for now in here.room.tanks)
    chosen = [id for _, id in tanks if id in asked]
    ahead = colony(here.request).calendar.ahead(here.clock.now_ms, chosen or None)
    names = {one.animal.id: one.animal.animal.name for one in ahead.due}
    shown = rows(ahead, here.clock)
    return here.context("calendar", path="/calendar") | {
        "tanks": tanks, "chosen": chosen, "rows": shown, "columns": columns(ahead, here.clock),
        "ticks": ticks(ahead, here.clock), "soft": [one for one in shown if one.stage],
        "clusters": [
            (cluster_line(one, here.clock), percent(one.chance), [(id, names[id]) for id in one.likely],
             f"/review?{urlencode([('tank', id) for id in chosen])}" if chosen else "/review")
            for one in ahead.clusters
        ],
        "most": max((one.high for one in ahead.days), default=0) or 1,
        "least": ahead.settings.number(len(ahead.due)), "days": ahead.settings.days,
        "least_chance": percent(ahead.settings.chance), "count": len(ahead.due),
    }  # fmt: skip
