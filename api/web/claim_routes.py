"""Claiming a probe for a tank. Must not do: decide whether it may be claimed; the service does."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body, Request

from api.web.bodies import tank_body

router = APIRouter(prefix="/api/v1/probes")


@router.post("/{probe_id}/claim")
def post_claim(
    request: Request, probe_id: str, tank: Annotated[str, Body(embed=True, max_length=200)]
) -> dict[str, Any]:
    """Give a probe that no tank claims to a tank; the answer is the tank."""
    service = request.app.state.service
    service.records.claim(probe_id, tank, service.now_ms())
    return tank_body(service.read.tank(tank, service.now_ms()))
