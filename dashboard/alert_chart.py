"""An alert's chart: the water around the moment it was told, with the forecast of that moment as a fan over it.

Must not do: forecast; the fan comes with the answer.
"""

from __future__ import annotations

from typing import Any, Protocol, cast
from urllib.parse import quote

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, Response

from api.domain.errors import NotFound
from api.domain.quantity import MEANING, Quantity
from api.services.alert_chart import AlertChart, FanPoint
from api.services.answers import AlertNow
from dashboard import files
from dashboard.charts import charted, native_lens
from dashboard.colony import Number
from dashboard.figures import figure
from dashboard.theme import DARK, LIGHT, Theme
from dashboard.units import Lens, Units
from dashboard.visit import Visit, visit
from dashboard.wall_clock import WallClock

Spec = dict[str, Any]
router = APIRouter(include_in_schema=False)


class AlertCharts(Protocol):
    """Charts of alerts."""

    def quantities(self, alert: AlertNow) -> tuple[Quantity, ...]:
        """What an alert's page shows."""

    def chart(self, alert: AlertNow, quantity: Quantity, now_ms: int) -> AlertChart:
        """One chart. Raises NotFound."""


def charts_of(request: Request) -> AlertCharts:
    """The service's part for charts of alerts."""
    return cast(AlertCharts, request.app.state.service.alert_charts)


@router.get("/alert/{alert_id}/figure")
def get_alert_figure(request: Request, alert_id: Number, quantity: Quantity, look: str = "light") -> Response:
    """One chart of an alert."""
    here = visit(request)
    alert, part = here.service.read.alert(alert_id), charts_of(request)
    if quantity not in part.quantities(alert):
        raise NotFound(f"alert {alert_id} has no chart of {MEANING[quantity].label}")
    made = part.chart(alert, quantity, here.clock.now_ms)
    return JSONResponse(alert_figure(made, alert, here, DARK if look == "dark" else LIGHT))


def alert_figure(made: AlertChart, alert: AlertNow, here: Visit, theme: Theme) -> Spec:
    """The figure: readings, care bands, alert, fan, and a line at the moment it was told."""
    wall = WallClock(here.clock, made.series.start_ms, made.end_ms)
    seen = native_lens(made.series.quantity, here.units)
    ends = [value for point in made.fan for value in (point.low, point.high)]
    out = figure(made.series, [alert], seen, wall, theme, MEANING[made.series.quantity].label, ends)
    if made.fan:
        out["data"] = [*_fan(made.fan, made.at_ms, seen, wall, theme), *out["data"]]
        out["layout"]["showlegend"] = True
    at = wall.text(made.at_ms)
    line = {"color": theme.ink, "width": 1.5, "dash": "dot"}
    across = {"type": "line", "x0": at, "x1": at, "yref": "paper", "y0": 0, "y1": 1, "line": line}
    out["layout"]["shapes"].append(across)
    word = {"text": "told" if not alert.found_late else "found late", "x": at, "yref": "paper", "y": 0.02}
    look = {"xanchor": "left", "yanchor": "bottom", "showarrow": False, "font": {"size": 11, "color": theme.ink}}
    out["layout"]["annotations"].append(word | look)
    out["layout"]["xaxis"]["range"] = [wall.text(made.series.start_ms), wall.text(made.end_ms)]
    return out


def _fan(points: tuple[FanPoint, ...], at_ms: int, seen: Lens, wall: WallClock, theme: Theme) -> list[Spec]:
    times = [wall.text(at_ms + round(point.after_s * 1000)) for point in points]
    low, middle, high = (
        [round(seen.see(getattr(point, name)), 4) for point in points] for name in ("low", "middle", "high")
    )
    colour = theme.unknown
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    spread = {
        "type": "scatter", "mode": "lines", "x": [*times, *reversed(times)], "y": [*high, *reversed(low)],
        "fill": "toself", "fillcolor": f"rgba({red},{green},{blue},0.22)", "line": {"width": 0}, "hoverinfo": "skip",
        "name": "80 % of it", "showlegend": low != high,
    }  # fmt: skip
    line = {
        "type": "scatter", "mode": "lines", "x": times, "y": middle, "name": "expected then",
        "line": {"color": colour, "width": 2, "dash": "dash"},
        "hovertemplate": f"expected then %{{y:.{seen.decimals}f}} {seen.unit}<extra></extra>",
    }  # fmt: skip
    return [spread, line]


def chart_context(here: Visit, alert_id: int) -> dict[str, Any]:
    """The charts of an alert's page. Raises NotFound."""
    alert = here.service.read.alert(alert_id)
    quantities = charts_of(here.request).quantities(alert)
    return {
        "charts": [_chart(alert, one, here.units) for one in charted(quantities, here.units)],
        "fan": alert.outlook is not None and alert.outlook.trend_per_hour is not None,
        "plotly": files.plotly_address(),
    }


def _chart(alert: AlertNow, quantity: Quantity, units: Units) -> dict[str, str]:
    title = f"{MEANING[quantity].label}, {native_lens(quantity, units).unit}".rstrip(", ")
    return {"title": title, "address": f"/alert/{alert.id}/figure?quantity={quote(str(quantity), safe='')}"}
