"""What each page's template needs, and which parts of a page are sent again when they change.

Must not do: know of requests beyond the visit, or change anything.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from api.domain.alert import AlertState
from api.services.answers import TankNow
from dashboard import files, render, rest_views
from dashboard.alerts import WAITING, alert_view, most_oxygen
from dashboard.calls import calls_of
from dashboard.charts import SPANS, chart_list, span_of
from dashboard.unclaimed import unclaimed_of
from dashboard.views import all_alerts, oxygen_sentence, room_view, tank_view
from dashboard.visit import Visit

MOST_PAST = 100
LEGEND = (
    ("target", "target"),
    ("tolerable", "tolerable"),
    ("outside", "outside"),
    ("danger", "danger"),
    ("unknown", "not known"),
)


def room_context(visit: Visit) -> dict[str, Any]:
    """The room page."""
    view = room_view(visit.room, visit.units)
    context = visit.context("room", "/live?page=room", "/")
    shown = {"calls": calls_of(view.waiting), "tanks": view.tanks, "said": view.said, "legend": LEGEND}
    return context | shown | _unclaimed(visit)


def _unclaimed(visit: Visit) -> dict[str, Any]:
    """Probes without a tank, and the tanks that may claim them."""
    tanks = sorted((now.tank.name, now.tank.id) for now in visit.room.tanks)
    return {
        "unclaimed": unclaimed_of(visit.room, visit.units, visit.clock),
        "claimers": [(tank, name) for name, tank in tanks],
    }


def tank_context(visit: Visit, now: TankNow) -> dict[str, Any]:
    """The part of a tank page that is sent again when it changes."""
    tank_id = quote(now.tank.id, safe="")
    context = visit.context("tank", f"/live?page=tank&tank={tank_id}", f"/tank/{tank_id}")
    return context | {
        "tank": tank_view(now, visit.units, visit.clock),
        "sentence": oxygen_sentence(now, visit.room.pressure_kpa, visit.units),
        "error": "",
    }


def charts_context(visit: Visit, now: TankNow, key: str, start: str, end: str) -> dict[str, Any]:
    """The rest of a tank page."""
    span = span_of(key, start, end, visit.clock)
    tank = now.tank
    facts = [
        tank.species,
        f"{tank.volume_l:g} L" if tank.volume_l is not None else "",
        f"care profile {tank.care}",
        tank.note,
    ]
    return {
        "span": span,
        "spans": [(key, word) for key, (word, _) in SPANS.items()],
        "charts": chart_list(tank.id, visit.service.read.quantities(tank.id), visit.units, span, visit.clock),
        "care_name": tank.care,
        "about": " · ".join(fact for fact in facts if fact),
        "plotly": files.plotly_address(),
    }


def alerts_context(visit: Visit) -> dict[str, Any]:
    """The alerts page."""
    most = most_oxygen(visit.room)
    standing = all_alerts(visit.room)
    past = visit.service.read.alerts([AlertState.NORMAL], MOST_PAST)
    shown = [alert_view(alert, visit.units, visit.clock, most) for alert in standing]
    over = [alert_view(alert, visit.units, visit.clock, most) for alert in past]
    context = visit.context("alerts", "/live?page=alerts", "/alerts")
    return context | {"standing": shown, "past": over, "cut": len(over) == MOST_PAST, "error": ""}


def alert_context(visit: Visit, alert_id: int, error: str = "") -> dict[str, Any]:
    """One alert's page.

    Raises NotFound.
    """
    now = visit.service.read.alert(alert_id)
    view = alert_view(now, visit.units, visit.clock, most_oxygen(visit.room))
    context = visit.context("alert", path=f"/alert/{alert_id}") | {"alert": view, "error": error, "charts": []}
    return context | rest_views.alert_context(now)


def room_parts(visit: Visit) -> tuple[dict[str, str], list[str]]:
    """The room page's parts by id, and the order of its strips.

    The strips are the same for everybody with the same units; only what holds forms is made for each visitor.
    """
    strips = visit.glance.shared(visit.room, ("strips", visit.units), lambda: _strips(visit))
    waiting = [now for now in all_alerts(visit.room) if now.state in WAITING]
    most = most_oxygen(visit.room)
    context = visit.context("room", path="/") | {
        "calls": calls_of([alert_view(alert, visit.units, visit.clock, most) for alert in waiting]),
        "said": {now.tank.id: now.words for now in visit.room.tanks},
        **_unclaimed(visit),
    }
    parts = {name: render.text(f"parts/{name}.html", context) for name in ("waiting", "unclaimed", "asides")}
    return _shared(context) | parts | strips, list(strips)


def _strips(visit: Visit) -> dict[str, str]:
    views = (tank_view(now, visit.units, visit.clock) for now in visit.room.tanks)
    return {
        f"strip-{view.id}": render.text("parts/tank_strip.html", {"tank": view, "loop_id": view.id}) for view in views
    }


def tank_parts(visit: Visit, now: TankNow) -> tuple[dict[str, str], list[str]]:
    """A tank page's parts by id."""
    context = tank_context(visit, now)
    return _shared(context) | {"tank-now": render.text("parts/tank_now.html", context)}, []


def alerts_parts(visit: Visit) -> tuple[dict[str, str], list[str]]:
    """The alerts page's parts by id."""
    context = alerts_context(visit)
    names = ("standing", "past")
    return _shared(context) | {name: render.text(f"parts/{name}.html", context) for name in names}, []


def _shared(context: dict[str, Any]) -> dict[str, str]:
    return {name: render.text(f"parts/{name}.html", context) for name in ("head", "notices")}
