"""What a keeper does to alerts on the pages: shelve, work on a tank, out of service, and back.

Must not do: decide how long a rest may be.
"""

from __future__ import annotations

from typing import cast
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from api.domain.errors import InputError
from api.domain.rest import Scope
from dashboard import contexts, render
from dashboard.colony import Number
from dashboard.rest_views import alert_context, resting
from dashboard.visit import NAME_COOKIE, Glance, Visit, local_path, remember, visit

KEPT_WITHIN_S = 10.0
router = APIRouter(include_in_schema=False)


@router.post("/alert/{alert_id}/shelve")
def post_shelve(
    request: Request, alert_id: Number, minutes: float = Form(0.0), reason: str = Form(""), person: str = Form("")
) -> Response:
    """Shelve an alert."""
    here = visit(request)
    try:
        name = here.session.name or person
        resting(request).shelve(alert_id, minutes, name, reason).result(KEPT_WITHIN_S)
    except InputError as error:
        words = str(error)
        context = contexts.alert_context(here, alert_id) | alert_context(here.service.read.alert(alert_id), words)
        return render.page("alert.html", context, 422)
    return _kept(request, here, f"/alert/{alert_id}", person)


@router.post("/tank/{tank_id}/work")
def post_work(request: Request, tank_id: str, person: str = Form("")) -> Response:
    """Somebody works on a tank."""
    here = visit(request)
    resting(request).work(tank_id, here.session.name or person).result(KEPT_WITHIN_S)
    return _kept(request, here, f"/tank/{quote(tank_id, safe='')}", person)


@router.post("/tank/{tank_id}/out-of-service")
def post_out(
    request: Request, tank_id: str, what: str = Form(""), reason: str = Form(""), person: str = Form("")
) -> Response:
    """Take the tank, or one of its probes, out of service."""
    here = visit(request)
    scope, key = (Scope.PROBE, what) if what else (Scope.TANK, tank_id)
    resting(request).out_of_service(scope, key, here.session.name or person, reason).result(KEPT_WITHIN_S)
    return _kept(request, here, f"/tank/{quote(tank_id, safe='')}", person)


@router.post("/rest/{rest_id}/end")
def post_end(request: Request, rest_id: int, person: str = Form(""), next: str = Form("/alerts")) -> Response:
    """Bring back what rests."""
    here = visit(request)
    resting(request).end(rest_id, here.session.name or person).result(KEPT_WITHIN_S)
    return _kept(request, here, local_path(next), person)


def _kept(request: Request, here: Visit, path: str, person: str) -> Response:
    cast(Glance, request.app.state.glance).forget()
    answer = RedirectResponse(path, 303)
    name = " ".join(person.split())[:80]
    if name and not here.session.name:
        remember(answer, request, NAME_COOKIE, name)
    return answer
