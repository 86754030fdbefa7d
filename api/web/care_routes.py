"""JSON routes of care profiles: in force, with their sources; changed with a reason; history. Must not do: decide."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body, Request

from api.domain.care_change import PROFILE
from api.domain.quantity import Quantity
from api.services.care import Wish
from api.web.bodies import plain

router = APIRouter(prefix="/api/v1/care")
WITHIN_S = 10.0


@router.get("")
def get_profiles(request: Request) -> list[dict[str, Any]]:
    """Every profile as it is in force, those in use first."""
    return [plain(one) for one in request.app.state.service.care.all()]


@router.get("/{name}")
def get_profile(request: Request, name: str) -> dict[str, Any]:
    """One profile and every change of it."""
    care = request.app.state.service.care
    return {**plain(care.profile(name)), "history": plain(care.history(name))}


@router.post("/{name}/changes", status_code=201)
def post_change(
    request: Request,
    name: str,
    quantity: Annotated[Quantity, Body()],
    numbers: Annotated[dict[str, float | None], Body()],
    person: Annotated[str, Body(max_length=200)],
    reason: Annotated[str, Body(max_length=2000)],
    scope: Annotated[str, Body(max_length=20)] = PROFILE,
    tank: Annotated[str, Body(max_length=200)] = "",
    stage: Annotated[str, Body(max_length=20)] = "",
    withdraw: Annotated[bool, Body()] = False,
    confirm: Annotated[bool, Body()] = False,
) -> dict[str, Any]:
    """Change numbers from now on, for the profile or (``scope`` "tank") for one tank."""
    care = request.app.state.service.care
    key = name if scope == PROFILE else tank
    care.change(Wish(scope, key, quantity, numbers, stage, withdraw), person, reason, confirm=confirm).result(WITHIN_S)
    return get_profile(request, name)
