"""The JSON side of the web: routes, problem bodies, and a service made from the settings.

Must not do: show pages (``dashboard``) or decide what an answer says (``api/services``).
"""

from __future__ import annotations

import gc
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib.metadata import version

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import Response

from api.domain.errors import InputError, NotFound, Transient
from api.notify.apprise_adapter import AppriseNotifier
from api.service import Service
from api.services.event_checks import Doubtful
from api.settings import settings
from api.web import (
    animal_routes,
    care_routes,
    claim_routes,
    event_routes,
    export_routes,
    health,
    import_routes,
    probe_routes,
    readings,
    report_routes,
    rest_routes,
    routes,
)
from api.web.problems import problem


def now_ms() -> int:
    """The wall clock in whole milliseconds UTC."""
    return time.time_ns() // 1_000_000


def open_service() -> Service:
    """The service of this process's settings."""
    mine = settings()
    return Service(mine.room, mine.data, AppriseNotifier(), now_ms)


def create_api(service: Service) -> FastAPI:
    """An app with the JSON routes; the service starts and ends with it."""

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        service.start()
        # What the start has built stays for good; looking through it again and again would cost the line time.
        gc.collect()
        gc.freeze()
        gc.set_threshold(20_000, 20, 20)
        yield
        service.close()

    app = FastAPI(
        title="Intermolt", version=version("intermolt"), lifespan=lifespan, docs_url=None, redoc_url=None,
        openapi_url="/api/v1/openapi.json",
    )  # fmt: skip
    app.state.service = service
    app.router.routes.extend(readings.ROUTES)
    for router in (
        rest_routes.router,
        care_routes.router,
        routes.router,
        probe_routes.router,
        claim_routes.router,
        animal_routes.router,
        event_routes.router,
        export_routes.router,
        report_routes.router,
        import_routes.router,
        health.router,
    ):
        app.include_router(router)
    app.add_exception_handler(NotFound, _not_found)
    app.add_exception_handler(Doubtful, _doubtful)
    app.add_exception_handler(InputError, _input_error)
    app.add_exception_handler(Transient, _transient)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(HTTPException, _http)
    return app


def _not_found(request: Request, error: Exception) -> Response:
    return problem(404, "Not found", str(error))


def _input_error(request: Request, error: Exception) -> Response:
    return problem(422, "Cannot be used", str(error))


def _doubtful(request: Request, error: Exception) -> Response:
    return problem(409, "Is this right?", f"{error} Send it again with confirm: true to keep it.")


def _transient(request: Request, error: Exception) -> Response:
    return problem(503, "Try again later", str(error), {"Retry-After": "5"})


def _invalid(request: Request, error: Exception) -> Response:
    faults = error.errors() if isinstance(error, RequestValidationError) else []
    words = "; ".join(f"{'.'.join(str(part) for part in fault['loc'])}: {fault['msg']}" for fault in faults)
    return problem(422, "Cannot be used", words[:1000])


def _http(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    detail = str(error.detail) if isinstance(error, HTTPException) else "unexpected"
    return problem(status, detail, f"{request.method} {request.url.path[:200]}: {detail}")
