"""Joins the JSON API, the pages and web safety into one app.

Must not do: hold routes or words of its own, but for errors shown on pages.
"""

from __future__ import annotations

from collections.abc import Callable
from inspect import iscoroutinefunction
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import Response

from api.app import create_api, open_service
from api.domain.errors import InputError, IntermoltError, NotFound, Transient
from api.web import safety, upload
from api.web.problems import problem
from dashboard import (
    alert_chart,
    animal_pages,
    calendar_pages,
    care_pages,
    claim_pages,
    files,
    grace_pages,
    import_pages,
    link_pages,
    log_pages,
    look_back_pages,
    morning_pages,
    number_pages,
    pages,
    people_edit_pages,
    people_pages,
    performance_pages,
    probe_pages,
    rehearsal_pages,
    report_pages,
    rest_pages,
    review_pages,
)
from dashboard.live import Live
from dashboard.visit import Glance

TITLES = {404: "There is no such page", 405: "That cannot be done here", 503: "Not just now"}


def build() -> FastAPI:
    """The app a server runs, with the service of this process's settings."""
    service = open_service()
    return join(create_api(service), service)


def join(app: FastAPI, service: Any) -> FastAPI:
    """Add pages and web safety to an app with JSON routes."""
    app.state.service = service
    app.state.glance = Glance(service)
    app.state.live = Live()
    app.state.refusal_page = pages.error_page
    app.state.receive = upload.receive
    app.include_router(files.router)
    app.include_router(pages.router)
    app.include_router(alert_chart.router)
    app.include_router(probe_pages.router)
    app.include_router(claim_pages.router)
    app.include_router(animal_pages.router)
    app.include_router(calendar_pages.router)
    app.include_router(look_back_pages.router)
    app.include_router(review_pages.router)
    app.include_router(report_pages.router)
    app.include_router(log_pages.router)
    app.include_router(number_pages.router)
    app.include_router(link_pages.router)
    app.include_router(people_pages.router)
    app.include_router(people_edit_pages.router)
    app.include_router(performance_pages.router)
    app.include_router(morning_pages.router)
    app.include_router(grace_pages.router)
    app.include_router(rest_pages.router)
    app.include_router(care_pages.router)
    app.include_router(rehearsal_pages.router)
    app.include_router(import_pages.router)
    for kind in (NotFound, InputError, Transient, TimeoutError, RequestValidationError, HTTPException, Exception):
        app.add_exception_handler(kind, _handler(app.exception_handlers.get(kind)))
    safety.install(app, service)
    return app


def _handler(for_json: Any) -> Callable[[Request, Exception], Response]:
    """Errors of pages as pages, of everything else as problem bodies by the JSON side's own handler."""
    # The framework's own handlers are coroutines and write no problem bodies.
    own = None if iscoroutinefunction(for_json) else for_json

    def handle(request: Request, error: Exception) -> Response:
        status, title, detail = words(error)
        if safety.is_json_path(request.url.path) or not _takes_html(request):
            answer: Response = own(request, error) if own is not None else problem(status, title, detail)
        else:
            answer = _page(request, status, title, detail)
        # Answers to unexpected errors are made outside the middleware that adds these.
        for name, value in safety.FIXED_HEADERS.items():
            answer.headers.setdefault(name, value)
        return answer

    return handle


def _page(request: Request, status: int, title: str, detail: str) -> Response:
    try:
        return pages.error_page(request, status, title, detail)
    except (IntermoltError, OSError):
        # The page's head needs the store, which may be what failed.
        return problem(status, title, detail)


def _takes_html(request: Request) -> bool:
    accept = request.headers.get("accept", "*/*")
    return "text/html" in accept or "*/*" in accept


def words(error: Exception) -> tuple[int, str, str]:
    """Status, title and what to do."""
    if isinstance(error, HTTPException):
        title = TITLES.get(error.status_code, "That did not work")
        return error.status_code, title, str(error.detail)
    if isinstance(error, NotFound):
        return 404, "Not found", f"{error}."
    if isinstance(error, InputError):
        return 422, "That cannot be used", str(error)
    if isinstance(error, RequestValidationError):
        return 422, "That cannot be used", "The address or form holds something that is not understood."
    if isinstance(error, Transient | TimeoutError):
        return 503, "Not just now", f"{error or 'The service did not answer in time'}. Load the page again."
    return 500, "This page failed", "The fault is in Intermolt and was logged. Look at the tanks themselves."
