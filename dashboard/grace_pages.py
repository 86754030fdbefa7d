"""The grace page (how long each tank lasts without air) and a tank's guided air test.

Must not do: decide when a test ends, or say a time that is not known.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Any, Protocol, cast
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from api.domain.errors import InputError, NotFound
from api.domain.words import duration
from api.services.air_tests import CAUTIONS, AirTests
from api.services.grace import AIR_LOST, Grace, Graces, GraceTo
from dashboard import render
from dashboard.clock import Clock
from dashboard.visit import visit

router = APIRouter(include_in_schema=False)


class HasGrace(Protocol):
    """The parts of the service asked here."""

    @property
    def air_tests(self) -> AirTests:
        """Guided air tests."""

    @property
    def grace(self) -> Graces:
        """What happens without air."""


@dataclass(frozen=True, slots=True)
class GraceView:
    """One tank in words; ``limits`` are (limit, time left, interval)."""

    tank: str
    name: str
    known: bool
    oxygen: str
    limits: tuple[tuple[str, str, str], ...]
    source: str
    facts: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]


def parts(request: Request) -> HasGrace:
    """The service's parts for grace time and air tests."""
    return cast(HasGrace, request.app.state.service)


@router.get("/grace")
def get_grace(request: Request) -> Response:
    """All tanks, the shortest grace first."""
    here = visit(request)
    tanks = [grace_view(one, here.clock) for one in parts(request).grace.all()]
    return render.page("grace.html", here.context("grace") | {"tanks": tanks})


@router.get("/tank/{tank_id}/air")
def get_air(request: Request, tank_id: str) -> Response:
    """A tank's air test: before, while it runs, and what it told."""
    here = visit(request)
    return render.page("air_test.html", here.context("air") | _air_context(request, tank_id, here.clock))


@router.post("/tank/{tank_id}/air")
def post_air(request: Request, tank_id: str, step: str = Form("")) -> Response:
    """The air was stopped, is on again, or enough was seen."""
    here, tests = visit(request), parts(request).air_tests
    try:
        if step == "begin":
            tests.begin(tank_id, here.session.name or "").result()
        elif step == "on":
            tests.air_on(tank_id).result()
        elif step == "end":
            tests.end(tank_id).result()
        else:
            raise InputError("the form says nothing an air test knows; load the page again")
    except InputError as error:
        context = here.context("air") | _air_context(request, tank_id, here.clock) | {"error": str(error)}
        return render.page("air_test.html", context, 422)
    return RedirectResponse(f"/tank/{quote(tank_id, safe='')}/air", 303)


def _air_context(request: Request, tank_id: str, clock: Clock) -> dict[str, Any]:
    service = parts(request)
    room = next((one for one in visit(request).room.tanks if one.tank.id == tank_id), None)
    if room is None:
        raise NotFound(f"there is no tank {tank_id!r}")
    test, seen = service.air_tests.running(tank_id), service.air_tests.watched(tank_id)
    phase = (
        "none" if test is None else "on" if test.on_ms is not None else "stop" if test.stop_ms is not None else "off"
    )
    since_ms = None if test is None else (test.on_ms or test.stop_ms or test.off_ms)
    return {
        "tank": room.tank,
        "phase": phase,
        "since": clock.maybe(since_ms),
        "why": test.why if test is not None else "",
        "oxygen": f"{seen.oxygen_mg_l:.2f} mg/L" if seen is not None else "",
        "stop": f"{seen.stop_mg_l:.1f} mg/L" if seen is not None else "",
        "cautions": CAUTIONS,
        "why_not": service.air_tests.why_not(tank_id) if test is None else "",
        "grace": grace_view(service.grace.tank(tank_id), clock),
        "error": "",
    }


def grace_view(one: Grace, clock: Clock) -> GraceView:
    """One tank's grace in words."""
    facts = []
    if one.demand is not None:
        facts.append(("oxygen demand", f"{one.demand.value:.2f} mg/L an hour ({_between(one.demand, 2)})"))
    if one.still is not None:
        facts.append(("exchange without air", f"{max(one.still.value, 0.0):.2f} per hour ({_between(one.still, 2)})"))
    if one.aired is not None:
        facts.append(("exchange with air", f"{one.aired.value:.1f} per hour ({_between(one.aired, 1)})"))
    if one.rest_mg_l is not None:
        facts.append(("where it would come to rest", f"{max(one.rest_mg_l, 0.0):.1f} mg/L"))
    when = clock.maybe(one.when_ms)
    seen = f"{one.source} {'at' if one.source == AIR_LOST else 'of'} {when.text}" if when is not None else ""
    return GraceView(
        tank=one.tank.id,
        name=one.tank.name,
        known=bool(one.source),
        oxygen=f"{one.oxygen_mg_l:.1f} mg/L now" if one.oxygen_mg_l is not None else "oxygen not known now",
        limits=tuple((f"{limit.name} limit {limit.limit_mg_l:g} mg/L", *_time(limit)) for limit in one.to),
        source=seen if one.source else "",
        facts=tuple(facts),
        notes=one.notes,
    )


def _between(estimate: Any, decimals: int) -> str:
    return f"80 %: {max(estimate.low, 0.0):.{decimals}f} to {estimate.high:.{decimals}f}"


def _time(limit: GraceTo) -> tuple[str, str]:
    if limit.hours <= 0:
        return "passed already", ""
    if limit.hours == inf:
        soonest = "" if limit.low_h == inf else f"80 %: from {duration(limit.low_h * 3600)} on"
        return "never, as it was then", soonest
    late = "never" if limit.high_h == inf else duration(limit.high_h * 3600)
    return duration(limit.hours * 3600), f"80 %: {duration(limit.low_h * 3600)} to {late}"
