"""JSON questions about tanks and alerts, and what a keeper does to them. Must not do: compute answers."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body, Path, Query, Request

from api.domain.alert import AlertState
from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.reading import PROBE_ID, PROBE_ID_RULE
from api.domain.tank import Tank
from api.web.bodies import plain, series_body, tank_body
from api.web.times import FIRST_MS, parse

router = APIRouter(prefix="/api/v1")
AlertId = Annotated[int, Path(ge=1, lt=2**63)]


@router.get("/tanks")
def get_tanks(request: Request) -> list[dict[str, Any]]:
    """Every tank with its latest readings and standing alerts, most urgent first."""
    service = request.app.state.service
    return [tank_body(tank) for tank in service.read.room(service.now_ms()).tanks]


@router.post("/tanks", status_code=201)
def post_tank(request: Request, tank: Annotated[Tank, Body()]) -> dict[str, Any]:
    """Add or change a tank."""
    service = request.app.state.service
    _check(tank)
    service.records.add_tank(tank, service.now_ms())
    return tank_body(service.read.tank(tank.id, service.now_ms()))


def _check(tank: Tank) -> None:
    """The same limits as in ``room.toml``."""
    if not PROBE_ID.match(tank.id):
        raise InputError(f"id {tank.id[:80]!r} is not usable: {PROBE_ID_RULE}")
    if not 0 < len(tank.name.strip()) <= 200:
        raise InputError("name: give the tank a name of 1 to 200 characters")
    if tank.volume_l is not None and not 0.1 <= tank.volume_l <= 1_000_000:
        raise InputError(f"volume_l = {tank.volume_l:g} is outside 0.1 to 1000000")


@router.get("/tanks/{tank_id}")
def get_tank(request: Request, tank_id: str) -> dict[str, Any]:
    """One tank."""
    service = request.app.state.service
    return tank_body(service.read.tank(tank_id, service.now_ms()))


@router.get("/tanks/{tank_id}/series")
def get_series(
    request: Request,
    tank_id: str,
    quantity: Quantity,
    start: str | None = None,
    end: str | None = None,
    points: Annotated[int, Query(ge=10, le=5000)] = 1500,
    unit: str | None = None,
) -> dict[str, Any]:
    """A quantity over time: from ``start`` (a day before the end) to ``end`` (now)."""
    service = request.app.state.service
    end_ms = parse(end, "end") if end is not None else service.now_ms()
    start_ms = parse(start, "start") if start is not None else max(end_ms - 86_400_000, FIRST_MS)
    return series_body(service.read.series(tank_id, quantity, start_ms, end_ms, points, unit))


@router.get("/alerts")
def get_alerts(
    request: Request,
    state: Annotated[list[AlertState] | None, Query()] = None,
    most: Annotated[int, Query(ge=1, le=1000)] = 200,
) -> list[dict[str, Any]]:
    """Alerts, newest first; ``state`` may stand several times."""
    return [plain(alert) for alert in request.app.state.service.read.alerts(state, most)]


@router.get("/alerts/{alert_id}")
def get_alert(request: Request, alert_id: AlertId) -> dict[str, Any]:
    """One alert with the steps of its life."""
    return dict(plain(request.app.state.service.read.alert(alert_id)))


@router.post("/alerts/{alert_id}/acknowledge")
def post_acknowledge(
    request: Request,
    alert_id: AlertId,
    person: Annotated[str, Body(max_length=200)],
    note: Annotated[str, Body(max_length=2000)] = "",
) -> dict[str, Any]:
    """Note that a person has taken the alert."""
    service = request.app.state.service
    service.records.acknowledge(alert_id, person, note, service.now_ms()).result()
    return dict(plain(service.read.alert(alert_id)))
