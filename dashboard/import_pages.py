"""The routes of the import pages. Must not do: understand a file, or keep a reading."""

from __future__ import annotations

import hmac
from pathlib import Path as File
from typing import Annotated, Any, Protocol, cast
from urllib.parse import quote

from fastapi import APIRouter, Depends, Form, Path, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import FileResponse, RedirectResponse, Response

from api.domain.errors import InputError, NotFound
from api.domain.import_job import OPEN, GivenFile, ImportJob, Source
from api.services.imports import Given, Imports
from api.services.plan import RoomPlan
from dashboard import render
from dashboard.clock import Clock
from dashboard.import_views import job_view, question_views, understood_view
from dashboard.log_pages import fields_of
from dashboard.visit import visit

router = APIRouter(include_in_schema=False)
JobId = Annotated[int, Path(ge=1, lt=2**63)]
MOST_SHOWN = 50
OLD = "this form is too old or not ours; load the page again, then choose the file once more"


class HasImports(Protocol):
    """The parts of the service asked here."""

    @property
    def imports(self) -> Imports:
        """Files on their way in."""

    def plan(self) -> RoomPlan:
        """The room."""

    @property
    def drop_folder(self) -> str:
        """Where files may be put to be taken."""


def parts(request: Request) -> HasImports:
    """The service's parts for imports."""
    return cast(HasImports, request.app.state.service)


@router.get("/import")
def get_imports(request: Request) -> Response:
    """All imports, and the form for another file."""
    return _all(request)


def _all(request: Request, error: str = "", status: int = 200) -> Response:
    here, service = visit(request), parts(request)
    views = [job_view(job, service.plan(), here.clock) for job in service.imports.jobs(MOST_SHOWN)]
    context = here.context("import", path="/import") | {
        "jobs": views,
        "going": any(view.kind == "going" for view in views),
        "recipes": service.imports.recipes(),
        "drop": service.drop_folder,
        "error": error,
    }
    return render.page("imports.html", context, status)


@router.post("/import")
async def post_import(request: Request) -> Response:
    """Take a file: on to how it is understood."""
    token = request.state.session.csrf

    def allowed(fields: dict[str, str]) -> None:
        if not hmac.compare_digest(token.encode(), fields.get("csrf", "").encode()):
            raise InputError(OLD)

    try:
        file, fields = await request.app.state.receive(request, parts(request).imports.folder, allowed)
        job = await run_in_threadpool(_taken, request, file, fields)
    except InputError as error:
        return await run_in_threadpool(_all, request, str(error), 422)
    return RedirectResponse(f"/import/{job.id}", 303)


def _taken(request: Request, file: GivenFile, fields: dict[str, str]) -> ImportJob:
    desk = parts(request).imports
    try:
        return desk.add(file, Given(Source.PAGE, request.state.session.name, None, fields.get("recipe", "")))
    except BaseException:
        desk.discard(file)
        raise


@router.get("/import/{job}")
def get_import(request: Request, job: JobId) -> Response:
    """One import."""
    return _one(request, job)


def _one(
    request: Request, number: int, error: str = "", status: int = 200, typed: dict[str, str] | None = None
) -> Response:
    here, service = visit(request), parts(request)
    job = service.imports.job(number)
    context = here.context("import", path=f"/import/{number}") | {
        "job": job_view(job, service.plan(), here.clock),
        "recipes": [one.name for one in service.imports.recipes()],
        "answered": sorted(job.answers.items()),
        "error": error,
        "seen": None,
        "questions": [],
        "must": 0,
        "tanks": [],
        "ready": False,
    }
    if job.state in OPEN:
        context |= _open(service, job, typed or {}, here.clock)
    return render.page("import.html", context, status)


def _open(service: HasImports, job: ImportJob, typed: dict[str, str], clock: Clock) -> dict[str, Any]:
    """The file as it is understood, and what is asked."""
    try:
        seen = service.imports.understood(job)
    except InputError as wrong:
        return {"error": str(wrong)}
    return {
        "seen": understood_view(seen, clock),
        "questions": (views := question_views(seen, typed)),
        "must": sum(one.must for one in views),
        "ready": seen.ready,
        "tanks": [(probe, service.plan().tanks[tank].name if tank in service.plan().tanks else "no tank")
                  for probe, tank in seen.tanks.items()],
    }  # fmt: skip


Fields = Annotated[dict[str, list[str]], Depends(fields_of)]


@router.post("/import/{job}/answers")
def post_answers(request: Request, job: JobId, given: Fields) -> Response:
    """Answer questions; those left open stay open."""
    parts(request).imports.job(job)
    answers = {key.removeprefix("answer:"): values[0] for key, values in given.items() if key.startswith("answer:")}
    try:
        parts(request).imports.answer(job, answers)
    except InputError as error:
        return _one(request, job, str(error), 422, answers)
    return _back(job)


@router.post("/import/{job}/recipe")
def post_recipe(request: Request, job: JobId, recipe: Annotated[str, Form()] = "") -> Response:
    """Read the file by an understanding kept before."""
    return _do(request, job, lambda desk: desk.use(job, recipe))


@router.post("/import/{job}/keep")
def post_keep(request: Request, job: JobId, name: Annotated[str, Form()] = "") -> Response:
    """Keep how the file is understood."""
    desk = parts(request).imports
    found = desk.job(job)
    return _do(request, job, lambda desk: desk.keep(found.recipe, found.tanks, name, request.state.session.name))


@router.post("/import/{job}/start")
def post_start(request: Request, job: JobId) -> Response:
    """Start it, or let it go on."""
    return _do(request, job, lambda desk: desk.start(job))


@router.post("/import/{job}/cancel")
def post_cancel(request: Request, job: JobId) -> Response:
    """Stop it."""
    return _do(request, job, lambda desk: desk.cancel(job))


@router.post("/import/{job}/forget")
def post_forget(request: Request, job: JobId) -> Response:
    """Delete the copy of its file."""
    return _do(request, job, lambda desk: desk.forget_file(job))


@router.post("/imports/recipes/forget")
def post_forget_recipe(request: Request, name: Annotated[str, Form()] = "") -> Response:
    """Forget an understanding."""
    parts(request).imports.forget_recipe(name)
    return RedirectResponse("/import", 303)


@router.get("/import/{job}/refused.csv")
def get_refused(request: Request, job: JobId) -> Response:
    """What was not taken."""
    found = parts(request).imports.job(job)
    path = File(found.report)
    if not found.report_bytes or not path.exists():
        raise NotFound(f"everything of import {job} was taken; there is no file of refusals")
    return FileResponse(path, media_type="text/csv; charset=utf-8", filename=path.name)


def _do(request: Request, job: int, step: Any) -> Response:
    desk = parts(request).imports
    desk.job(job)
    try:
        step(desk)
    except InputError as error:
        return _one(request, job, str(error), 422)
    return _back(job)


def _back(job: int) -> Response:
    return RedirectResponse(f"/import/{quote(str(job))}", 303)
