"""The door for readings and for a collector's word of itself. Must not do: judge; the line does."""

from __future__ import annotations

import asyncio
import json

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from api.domain import senml
from api.domain.errors import InputError, Transient
from api.domain.reading import PROBE_ID
from api.services.collector_status import check_status, keep_status
from api.services.danger import danger_limits
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
    refused = [item.body() for item in outcome.refused]
    return JSONResponse({"accepted": outcome.accepted, "duplicate": outcome.duplicate, "refused": refused})


async def put_collector(request: Request) -> Response:
    """Keep a collector's own word of itself (spool and ports); once kept, the danger limits of its probes."""
    service = request.app.state.service
    name = request.path_params["name"]
    if not PROBE_ID.match(name):
        return problem(400, "Not a collector's name", f"{name[:80]!r} cannot be a name")
    try:
        body = check_status(json.loads(await request.body()))
    except (ValueError, RecursionError) as error:
        return problem(400, "Not a collector's status", str(error))
    await asyncio.wrap_future(keep_status(service.store, name, body, service.now_ms()))
    danger = await asyncio.to_thread(danger_limits, service.store, service.plan(), service.now_ms())
    return JSONResponse({"danger": danger})


ROUTES = (
    Route("/api/v1/readings", post_readings, methods=["POST"]),
    Route("/api/v1/collectors/{name}", put_collector, methods=["PUT"]),
)
"""Plain routes: they take their bodies raw, and every reading of the room passes here."""
