"""The form that claims a probe for a tank. Must not do: decide whether it may be claimed (``api``)."""

from __future__ import annotations

from typing import Annotated, cast

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from dashboard.visit import Glance, local_path, visit

router = APIRouter(include_in_schema=False)


@router.post("/probe/{probe_id}/claim")
def post_claim(
    request: Request, probe_id: str, tank: Annotated[str, Form()] = "", next: Annotated[str, Form()] = "/"
) -> Response:
    """Give a probe to a tank."""
    here = visit(request)
    here.service.records.claim(probe_id, tank, here.service.now_ms())
    cast(Glance, request.app.state.glance).forget()
    return RedirectResponse(local_path(next), 303)
