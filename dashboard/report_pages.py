"""The route of the conditions report, ready to read and to print. Must not do: compute."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from api.domain.errors import InputError
from api.domain.quantity import MEANING
from api.domain.words import KIND_WORDS, duration
from api.services.report import Band, QuantityReport, Report, TankReport
from api.services.report_words import methods
from dashboard import files, render
from dashboard.charts import chart_list, native_lens, span_of
from dashboard.clock import Clock, Moment
from dashboard.colony import colony
from dashboard.units import Units
from dashboard.visit import Visit, visit

DAY_MS = 86_400_000
USUAL_D = 14
MOST_TANKS, MOST_CHARTED = 500, 12
MOST_GAPS = 5
BANDS = (
    (Band.TARGET, "target"), (Band.TOLERABLE, "tolerable"), (Band.OUTSIDE, "outside"), (Band.DANGER, "danger"),
)  # fmt: skip
router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True)
class QuantityView:
    """One quantity's row; shares as (mark, word, percent)."""

    name: str
    probe: str
    unit: str
    figures: tuple[tuple[str, str], ...]
    shares: tuple[tuple[str, str, str], ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AlertView:
    """An alert that stood."""

    id: int
    words: str
    since: Moment
    stood: str


@router.get("/report")
def get_report(
    request: Request,
    tank: Annotated[list[str] | None, Query(max_length=MOST_TANKS)] = None,
    start: Annotated[str, Query(max_length=40)] = "",
    end: Annotated[str, Query(max_length=40)] = "",
) -> Response:
    """Conditions of some tanks over a time."""
    here = visit(request)
    start = start or here.clock.field(here.clock.now_ms - USUAL_D * DAY_MS)
    end = end or here.clock.field(here.clock.now_ms)
    context = here.context("report", path="/report") | {
        "tanks": sorted((now.tank.name or now.tank.id, now.tank.id) for now in here.room.tanks),
        "asked": {"tanks": tank or [], "start": start, "end": end}, "plotly": files.plotly_address(),
    }  # fmt: skip
    try:
        made = colony(request).reports.report(tank, here.clock.parse(start), here.clock.parse(end), here.clock.now_ms)
    except InputError as error:
        return render.page("report.html", context | {"error": str(error), "made": None}, 422)
    page = render.page("report.html", context | {"error": "", "made": _shown(here, made, start, end)}, 200)
    page.headers["content-security-policy"] = render.CHART_POLICY
    return page


def _shown(here: Visit, made: Report, start: str, end: str) -> dict[str, Any]:
    paper = here.clock.on_paper()
    asked = [("tank", tank.tank.id) for tank in made.tanks]
    asked += [("start", here.clock.iso(made.start_ms)), ("end", here.clock.iso(made.end_ms))]
    span = span_of("own", start, end, here.clock)
    return {
        "span": f"{paper.moment(made.start_ms).text} to {paper.moment(made.end_ms).text}",
        "zone": made.zone,
        "made": paper.moment(made.made_ms),
        "methods": methods(made),
        "query": urlencode(asked),
        "tanks": [
            {
                "id": tank.tank.id, "name": tank.tank.name, "care": tank.care, "species": tank.tank.species,
                "quantities": [_quantity(one, here.units, paper) for one in tank.quantities],
                "days": _days(tank),
                "alerts": [_alert(one, made, paper) for one in tank.alerts],
                "calibrations": [
                    (one.probe, MEANING[one.quantity].label, one.kind.replace("_", " "), paper.moment(one.from_ms))
                    for one in tank.calibrations
                ],
                "charts": chart_list(
                    tank.tank.id, [one.quantity for one in tank.quantities], here.units, span, here.clock
                ) if len(made.tanks) <= MOST_CHARTED else [],
            }
            for tank in made.tanks
        ],
    }  # fmt: skip


def _quantity(one: QuantityReport, units: Units, clock: Clock) -> QuantityView:
    c, see = one.conditions, native_lens(one.quantity, units)
    figures: list[tuple[str, str]] = []
    if c.mean is not None and c.sd is not None and c.low is not None and c.high is not None:
        figures = [
            ("mean", see.number(c.mean)), ("SD", f"{c.sd * see.factor:.{max(2, see.decimals)}f}"),
            ("median", see.number(c.median or 0.0)), ("5th", see.number(c.p05 or 0.0)),
            ("95th", see.number(c.p95 or 0.0)), ("lowest", see.number(c.low)), ("highest", see.number(c.high)),
        ]  # fmt: skip
    notes = [f"known for {100 * c.known:.1f} % of the time"]
    notes += (
        [f"{one.flagged} of {one.readings + one.flagged} readings were flagged and left out"] if one.flagged else []
    )
    long = sorted(c.gaps, key=lambda gap: gap.start_ms - gap.end_ms)[:MOST_GAPS]
    if c.gaps:
        told = ", ".join(
            f"{duration((gap.end_ms - gap.start_ms) / 1000)} from {clock.moment(gap.start_ms).text}" for gap in long
        )
        notes.append(f"{len(c.gaps)} gap{'' if len(c.gaps) == 1 else 's'}; longest: {told}")
    return QuantityView(
        name=MEANING[one.quantity].label + (" (derived)" if one.derived else ""),
        probe=one.probe,
        unit=see.unit,
        figures=tuple(figures),
        shares=tuple((word, word, f"{100 * c.bands[band]:.1f} %") for band, word in BANDS if band in c.bands),
        notes=tuple(notes),
    )


def _days(tank: TankReport) -> str:
    if tank.degree_days is None or tank.molt_degree_days is None:
        return ""
    days = f"{tank.degree_days:.1f} degree-days above 0 °C; {tank.molt_degree_days:.1f} of its species’ molt clock"
    return days if tank.warmth_whole else f"{days}, both over the time the temperature is known"


def _alert(one: Any, made: Report, clock: Clock) -> AlertView:
    until = one.until_ms if one.until_ms is not None else made.made_ms
    return AlertView(
        one.id, f"{KIND_WORDS[one.kind]}, {one.priority}", clock.moment(one.since_ms),
        duration((until - one.since_ms) / 1000) + ("" if one.until_ms is not None else ", and still stands"),
    )  # fmt: skip
