"""JSON routes of alerts at rest: shelve, work on a tank, out of service, and back. Must not do: decide anything."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body, Path, Request

from api.domain.rest import Scope
from api.judge.resting import RULES
from api.web.bodies import plain

router = APIRouter(prefix="/api/v1")
Number = Annotated[int, Path(ge=1, lt=2**63)]
Person = Annotated[str, Body(max_length=200)]
Reason = Annotated[str, Body(max_length=2000)]


@router.get("/alerts/resting")
def get_resting(request: Request, all: bool = False) -> dict[str, Any]:
    """What rests now (``all``: and what has), with the rules of resting in words."""
    return {"rests": [plain(one) for one in request.app.state.service.resting.rests(running=not all)], "rules": RULES}


@router.post("/alerts/{alert_id}/shelve")
def post_shelve(
    request: Request, alert_id: Number, person: Person, reason: Reason, minutes: Annotated[float, Body()]
) -> dict[str, Any]:
    """Shelve an alert for so many minutes."""
    service = request.app.state.service
    service.resting.shelve(alert_id, minutes, person, reason).result()
    return dict(plain(service.read.alert(alert_id)))


@router.post("/alerts/resting/{rest_id}/end")
def post_end(
    request: Request, rest_id: Number, person: Annotated[str, Body(max_length=200, embed=True)]
) -> dict[str, Any]:
    """Bring back what rests."""
    return {"outcome": request.app.state.service.resting.end(rest_id, person).result()}


@router.post("/tanks/{tank_id}/work", status_code=201)
def post_work(
    request: Request, tank_id: str, person: Annotated[str, Body(max_length=200, embed=True)]
) -> dict[str, Any]:
    """Somebody works on a tank for the next half hour."""
    return {"rest": request.app.state.service.resting.work(tank_id, person).result()}


@router.post("/tanks/{tank_id}/out-of-service", status_code=201)
def post_tank_out(request: Request, tank_id: str, person: Person, reason: Reason) -> dict[str, Any]:
    """Take a tank out of service."""
    return {"rest": request.app.state.service.resting.out_of_service(Scope.TANK, tank_id, person, reason).result()}


@router.post("/probes/{probe_id}/out-of-service", status_code=201)
def post_probe_out(request: Request, probe_id: str, person: Person, reason: Reason) -> dict[str, Any]:
    """Take a probe out of service."""
    return {"rest": request.app.state.service.resting.out_of_service(Scope.PROBE, probe_id, person, reason).result()}
