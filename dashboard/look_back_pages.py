"""The routes of the look back: every molt interval beside its water: table, chart and CSV. Must not do: decide."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import Any

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from api.domain.quantity import Quantity
from api.services.look_back import Interval
from dashboard import files, render
from dashboard.clock import Clock
from dashboard.colony import colony
from dashboard.forecast import day
from dashboard.growth import axis, layout
from dashboard.tank_log import short
from dashboard.theme import DARK, LIGHT, Theme
from dashboard.units import Units, lens
from dashboard.visit import visit

MOSTLY = 0.8
router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True)
class IntervalView:
    """One interval ready to show."""

    animal: int
    name: str
    species: str
    span: str
    days: str
    degree_days: str
    temperature: str
    oxygen: str
    gain: str


@router.get("/intervals")
def get_intervals(request: Request) -> Response:
    """Every animal's past intervals."""
    here = visit(request)
    found = colony(request).look_back.intervals(here.clock.now_ms)
    context = here.context("animals", path="/intervals") | {
        "intervals": views(found, here.clock, here.units),
        "plotly": files.plotly_address(),
    }
    page = render.page("intervals.html", context, 200)
    page.headers["content-security-policy"] = render.CHART_POLICY
    return page


@router.get("/intervals/figure")
def get_figure(request: Request, of: str = "days", look: str = "light") -> Response:
    """How long intervals took against how warm they were."""
    if of != "days":
        raise HTTPException(404, "there is no such chart")
    here = visit(request)
    found = colony(request).look_back.intervals(here.clock.now_ms)
    return JSONResponse(interval_figure(found, here.clock, here.units, DARK if look == "dark" else LIGHT))


def views(found: tuple[Interval, ...], clock: Clock, units: Units) -> list[IntervalView]:
    """Intervals in words, the newest of each animal first."""
    return [_view(one, clock, units) for one in sorted(found, key=lambda one: (one.life.id, -one.interval.from_ms))]


def _view(one: Interval, clock: Clock, units: Units) -> IntervalView:
    span, warm, air = one.interval, one.temperature, one.oxygen
    words = f"{day(span.from_ms, clock)} to {day(span.to_ms, clock) if span.ended else 'now, still going on'}"
    temperature = oxygen = "not known"
    if warm.mean is not None and warm.kept is not None and warm.kept.lowest is not None:
        see = lens(Quantity.TEMPERATURE, units)
        low, high = see.number(warm.kept.lowest), see.number(warm.kept.highest or warm.mean)
        temperature = f"{see.number(warm.mean)} ({low} to {high}) {see.unit}, {_known(warm.kept.known)}"
    if air.mean is not None and air.kept is not None and air.kept.lowest is not None:
        oxygen = f"{air.mean:.1f} mg/L, lowest {air.kept.lowest:.1f}"
        if air.kept.in_target is not None:
            oxygen += f", in target {100 * air.kept.in_target:.0f} %"
        oxygen += f", {_known(air.kept.known)}"
    gain = ""
    if one.gain is not None and span.before_mm is not None and span.after_mm is not None:
        gain = f"{short(span.before_mm)} to {short(span.after_mm)} mm, {100 * one.gain:+.0f} %"
    return IntervalView(
        span.animal, one.life.animal.name, one.life.animal.species, words, f"{span.days:.0f}",
        _degree_days(one), temperature, oxygen, gain,
    )  # fmt: skip


def _degree_days(one: Interval) -> str:
    """With a word where too little temperature is on record for them."""
    guessed = (
        "" if one.interval.known_share >= MOSTLY else ", mostly guessed" if one.interval.known_share else ", guessed"
    )
    return f"{one.interval.degree_days:.0f}{guessed}"


def _known(share: float) -> str:
    return f"known for {100 * share:.0f} %"


def interval_figure(found: tuple[Interval, ...], clock: Clock, units: Units, theme: Theme) -> dict[str, Any]:
    """A point for each interval that ended and whose temperature is known."""
    shown = [one for one in found if one.interval.ended and one.temperature.mean is not None]
    words = [
        escape(f"{one.life.animal.name}, {day(one.interval.from_ms, clock)} to {day(one.interval.to_ms, clock)}")
        for one in shown
    ]
    see = lens(Quantity.TEMPERATURE, units)
    species = sorted({one.life.animal.species or "species not noted" for one in shown})
    symbols = ("circle", "diamond", "square", "triangle-up", "cross", "x")
    return {
        "data": [
            {
                "type": "scatter", "mode": "markers", "name": name,
                "x": [see.see(one.temperature.mean or 0.0) for one in shown if _species(one) == name],
                "y": [one.interval.days for one in shown if _species(one) == name],
                "text": [text for one, text in zip(shown, words, strict=True) if _species(one) == name],
                "marker": {
                    "symbol": symbols[at % len(symbols)], "size": 9, "color": theme.lines[at % len(theme.lines)],
                },
                "hovertemplate": "%{text}: %{y:.0f} days at %{x:.1f}<extra></extra>",
            }
            for at, name in enumerate(species)
        ],
        "layout": layout(theme) | {
            "showlegend": len(species) > 1, "legend": {"orientation": "h", "y": 1.15},
            "xaxis": axis(theme) | {"nticks": 6, "title": {"text": f"mean temperature, {see.unit}"}},
            "yaxis": axis(theme) | {"nticks": 6, "rangemode": "tozero", "title": {"text": "days"}},
            "meta": {"title": "length of molt intervals against their temperature"},
        },
    }  # fmt: skip


def _species(one: Interval) -> str:
    return one.life.animal.species or "species not noted"
