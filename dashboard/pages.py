"""The pages' routes. Those that ask the service are plain functions and so run in the thread pool.

Must not do: format anything (``views.py``) or decide anything (``api``).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, cast

from fastapi import APIRouter, Form, Request
from pydantic import Field
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, RedirectResponse, Response, StreamingResponse

from api.domain.errors import InputError, NotFound
from api.domain.quantity import Quantity
from dashboard import contexts, render, rest_views
from dashboard.alert_chart import chart_context
from dashboard.calls import MOST_BESIDE
from dashboard.charts import POINTS, chart_figure, span_of
from dashboard.colony import Number, colony
from dashboard.event_choices import names
from dashboard.event_marks import event_marks
from dashboard.live import Live, Parts
from dashboard.service import Door
from dashboard.theme import DARK, LIGHT
from dashboard.visit import (
    NAME_COOKIE,
    OXYGEN_COOKIE,
    TEMPERATURE_COOKIE,
    Glance,
    Visit,
    local_path,
    remember,
    visit,
)
from dashboard.wall_clock import WallClock

KEPT_WITHIN_S = 10.0
MOST_ALERTS, MOST_EVENTS = 5000, 1000
router = APIRouter(include_in_schema=False)


@router.get("/")
def get_room(request: Request) -> Response:
    """The night strips."""
    return render.page("room.html", contexts.room_context(visit(request)))


@router.get("/tank/{tank_id}")
def get_tank(request: Request, tank_id: str, span: str = "day", start: str = "", end: str = "") -> Response:
    """One tank."""
    here = visit(request)
    now = here.service.read.tank(tank_id, here.clock.now_ms)
    context = contexts.tank_context(here, now) | contexts.charts_context(here, now, span, start, end)
    probes = list(dict.fromkeys(one.probe for one in now.latest))
    context |= rest_views.tank_context(here, tank_id, probes)
    page = render.page("tank.html", context)
    page.headers["content-security-policy"] = render.CHART_POLICY
    return page


@router.get("/tank/{tank_id}/figure")
def get_figure(
    request: Request, tank_id: str, quantity: Quantity, span: str = "day", start: str = "", end: str = "",
    look: str = "light",
) -> Response:  # fmt: skip
    """One chart."""
    here = visit(request)
    shown = span_of(span, start, end, here.clock)
    if shown.wrong:
        raise InputError(shown.wrong)
    read = here.service.read
    now = read.tank(tank_id, here.clock.now_ms)
    series = read.series(tank_id, quantity, shown.start_ms, shown.end_ms, POINTS)
    made = chart_figure(series, now, read.alerts(None, MOST_ALERTS), here.units, here.clock, look)
    happened = colony(request).events.between(tank_id, shown.start_ms, shown.end_ms, MOST_EVENTS)
    wall = WallClock(here.clock, series.start_ms, series.end_ms)
    made["data"] += event_marks(happened, names(here), wall, DARK if look == "dark" else LIGHT)
    return JSONResponse(made)


@router.get("/alerts")
def get_alerts(request: Request) -> Response:
    """Standing and past alerts."""
    return render.page("alerts.html", _alerts(visit(request)))


def _alerts(here: Visit) -> dict[str, Any]:
    return contexts.alerts_context(here) | rest_views.list_context(here)


@router.get("/alert/{alert_id}")
def get_alert(request: Request, alert_id: Number) -> Response:
    """One alert."""
    here = visit(request)
    page = render.page("alert.html", contexts.alert_context(here, alert_id) | chart_context(here, alert_id))
    page.headers["content-security-policy"] = render.CHART_POLICY
    return page


@router.post("/alert/{alert_id}/acknowledge")
def post_acknowledge(
    request: Request,
    alert_id: Number,
    person: Annotated[str, Form()] = "",
    note: Annotated[str, Form()] = "",
    next: Annotated[str, Form()] = "/",
    also: Annotated[list[Annotated[int, Field(ge=1, lt=2**63)]] | None, Form(max_length=MOST_BESIDE)] = None,
) -> Response:
    """Note who is seeing to an alert, and to the others of its tank that stood beside it."""
    here = visit(request)
    name = here.session.name or " ".join(person.split())[:80]
    if not name:
        wrong = "Give your name, so that others know who is seeing to it."
        return render.page("alert.html", contexts.alert_context(here, alert_id, wrong), 422)
    for number in dict.fromkeys((alert_id, *(also or ()))):
        here.service.records.acknowledge(number, name, note[:500], here.service.now_ms()).result(KEPT_WITHIN_S)
    cast(Glance, request.app.state.glance).forget()
    answer = RedirectResponse(local_path(next), 303)
    if not here.session.name:
        remember(answer, request, NAME_COOKIE, name)
    return answer


@router.post("/units")
def post_units(
    request: Request,
    temperature: Annotated[str, Form()] = "",
    oxygen: Annotated[str, Form()] = "",
    next: Annotated[str, Form()] = "/",
) -> Response:
    """Remember in which units to show."""
    answer = RedirectResponse(local_path(next), 303)
    for cookie, value, choices in ((TEMPERATURE_COOKIE, temperature, "cf"), (OXYGEN_COOKIE, oxygen, ("mg", "percent"))):
        if value and value in choices:
            remember(answer, request, cookie, value)
    return answer


@router.get("/login")
def get_login(request: Request, next: str = "/") -> Response:
    """The form to sign in."""
    if not request.app.state.service.records.password_set():
        return RedirectResponse("/", 303)
    return _login(request, local_path(next), "", "", 200)


@router.post("/login")
def post_login(
    request: Request,
    name: Annotated[str, Form()] = "",
    password: Annotated[str, Form()] = "",
    next: Annotated[str, Form()] = "/",
) -> Response:
    """Sign in."""
    address = request.client.host if request.client else ""
    entry = cast(Door, request.app.state.door).enter(request.state.session, address, name, password)
    if entry.ok:
        return RedirectResponse(local_path(next), 303)
    wait = f" Wait {entry.wait_s} s before the next try." if entry.wait_s else ""
    return _login(request, local_path(next), name[:80], f"That name and password do not go together.{wait}", 403)


@router.post("/logout")
def post_logout(request: Request) -> Response:
    """Sign out."""
    cast(Door, request.app.state.door).leave(request.state.session)
    return RedirectResponse("/login", 303)


@router.get("/live")
async def get_live(request: Request, page: str, tank: str = "") -> Response:
    """Fresh parts of an open page."""
    live = cast(Live, request.app.state.live)
    make = _MAKERS.get(page)
    if make is None:
        raise HTTPException(404, "there is no such page to follow")
    if live.full():
        raise HTTPException(503, "too many pages are open; this one does not refresh itself")
    clock: list[str] = [""]

    def parts() -> Parts:
        here = visit(request)
        clock[0] = here.clock.moment(here.clock.now_ms).text
        return make(here, tank)

    # No proxy on the way may hold events back.
    headers = {"cache-control": "no-store", "x-accel-buffering": "no"}
    return StreamingResponse(live.stream(parts, lambda: clock[0]), media_type="text/event-stream", headers=headers)


def _tank_parts(here: Visit, tank: str) -> Parts:
    # The visit's own room holds the tank already.
    now = next((one for one in here.room.tanks if one.tank.id == tank), None)
    if now is None:
        raise NotFound(f"there is no tank {tank!r}")
    return contexts.tank_parts(here, now)


_MAKERS: dict[str, Callable[[Visit, str], Parts]] = {
    "room": lambda here, _: contexts.room_parts(here),
    "tank": _tank_parts,
    "alerts": lambda here, _: contexts.alerts_parts(here),
}


def _login(request: Request, next: str, name: str, error: str, status: int) -> Response:
    context: dict[str, Any] = {"csrf": request.state.session.csrf, "next": next, "name": name, "error": error}
    return render.page("login.html", context | {"simulated": simulated(request)}, status)


def simulated(request: Request) -> bool:
    """Whether the room is an invented one."""
    return cast(Glance, request.app.state.glance).room().simulated


def error_page(request: Request, status: int, title: str, detail: str) -> Response:
    """An error in the look of the pages."""
    context = {"status": status, "title": title, "detail": detail, "simulated": simulated(request)}
    return render.page("error.html", context, status)
