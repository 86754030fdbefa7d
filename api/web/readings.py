"""The door for readings and for a collector's word of itself. Must not do: judge; the line does."""

from __future__ import annotations

import asyncio
import json
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from api.domain import senml
from api.domain.errors import InputError, Transient
from api.domain.reading import PROBE_ID
from api.web.problems import problem

MOST_RECORDS = 10_000


async def post_readings(request: Request) -> Response:
    """Keep a SenML pack (RFC 8428), item by item.

    200 once every accepted reading, alert state and message is on disk; 400 not SenML; 503 not kept.
    """
    service = request.app.state.service
    now_ms = service.now_ms()
    try:
        items = senml.decode(await request.body(), now_ms)
    except InputError as error:
        return problem(400, "Not a SenML pack", str(error))
    if len(items) > MOST_RECORDS:
        return problem(413, "Too many records", f"{len(items)} records; send at most {MOST_RECORDS} in a pack")
    try:
        outcome = await asyncio.wrap_future(service.ingest.accept(items, now_ms))
    except Transient as error:
        return problem(503, "Not kept", f"{error}; send the same pack again later", {"Retry-After": "5"})
    refused = [{"index": item.index, "reason": item.reason} for item in outcome.refused]
    return JSONResponse({"accepted": outcome.accepted, "duplicate": outcome.duplicate, "refused": refused})


async def put_collector(request: Request) -> Response:
    """Keep a collector's own word of itself (spool and ports); 204 once kept."""
    service = request.app.state.service
    name = request.path_params["name"]
    if not PROBE_ID.match(name):
        return problem(400, "Not a collector's name", f"{name[:80]!r} cannot be a name")
    try:
        body = check_status(json.loads(await request.body()))
    except (ValueError, RecursionError) as error:
        return problem(400, "Not a collector's status", str(error))
    now_ms = service.now_ms()
    await asyncio.wrap_future(service.store.write(lambda: service.store.state.save_collector(name, body, now_ms)))
    return Response(status_code=204)


def check_status(body: Any) -> dict[str, Any]:
    """The status with every field the pages read present and of its type.

    Raises ValueError naming the field.
    """
    if not isinstance(body, dict) or not isinstance(body.get("spool"), dict) or not isinstance(body.get("ports"), list):
        raise ValueError("it needs an object 'spool' and a list 'ports'")
    spool = {name: _whole(body["spool"], name) for name in ("waiting", "dropped", "refused")}
    ports = [
        {
            "probe": str(port.get("probe", ""))[:64],
            "state": str(port.get("state", ""))[:20],
            "last_reading_ms": _whole(port, "last_reading_ms") if port.get("last_reading_ms") is not None else None,
            "unreadable": _whole(port, "unreadable"),
            "last_unreadable": str(port.get("last_unreadable", ""))[:200],
            "error": str(port.get("error", ""))[:300],
        }
        for port in body["ports"][:2000]
        if isinstance(port, dict)
    ]
    return {"spool": {**spool, "trouble": str(body["spool"].get("trouble") or "")[:300]}, "ports": ports}


def _whole(body: dict[str, Any], name: str) -> int:
    value = body.get(name, 0)
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < 2**62:
        raise ValueError(f"{name} = {str(value)[:40]} is not a whole number")
    return value


ROUTES = (
    Route("/api/v1/readings", post_readings, methods=["POST"]),
    Route("/api/v1/collectors/{name}", put_collector, methods=["PUT"]),
)
"""Plain routes: they take their bodies raw, and every reading of the room passes here."""
