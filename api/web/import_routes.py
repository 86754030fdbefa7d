"""JSON routes of imports: a file comes, is asked about, started, cancelled. Must not do: read a file's rows."""

from __future__ import annotations

from pathlib import Path as File
from typing import Annotated, Any

from fastapi import APIRouter, Body, Path, Query, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import FileResponse

from api.domain.errors import NotFound
from api.domain.import_job import ImportJob, Source
from api.services.imports import Given, Imports
from api.web.import_bodies import job_body, whole_body
from api.web.upload import receive

router = APIRouter(prefix="/api/v1")
JobId = Annotated[int, Path(ge=1, lt=2**63)]
ANSWER = "answer:"
MOST_ANSWERS = 2_000


def _desk(request: Request) -> Imports:
    desk: Imports = request.app.state.service.imports
    return desk


@router.get("/imports")
def get_imports(request: Request, most: Annotated[int, Query(ge=1, le=1000)] = 200) -> list[dict[str, Any]]:
    """Imports, newest first."""
    return [job_body(job) for job in _desk(request).jobs(most)]


@router.post("/imports", status_code=201)
async def post_import(request: Request) -> dict[str, Any]:
    """Take a file (multipart field ``file``); ``recipe`` and fields ``answer:KEY`` may stand before or after it.

    Nothing of it is kept before it is started; ``start`` = yes starts it at once when nothing is asked.
    """
    desk = _desk(request)
    file, fields = await receive(request, desk.folder, lambda fields: None)
    return await run_in_threadpool(_taken, request, desk, file, fields)


def _taken(request: Request, desk: Imports, file: Any, fields: dict[str, str]) -> dict[str, Any]:
    answers = {key.removeprefix(ANSWER): value for key, value in fields.items() if key.startswith(ANSWER)}
    person = request.state.session.name or fields.get("person", "")
    job = taken(desk, file, Given(Source.PAGE, person, answers, fields.get("recipe", "")))
    if fields.get("start") == "yes" and job.recipe:
        job = desk.start(job.id)
    return whole_body(desk, job)


def taken(desk: Imports, file: Any, given: Given) -> ImportJob:
    """Put an uploaded file on record; one that cannot be used leaves nothing behind."""
    try:
        return desk.add(file, given)
    except BaseException:
        desk.discard(file)
        raise


@router.get("/imports/recipes")
def get_recipes(request: Request) -> list[dict[str, Any]]:
    """Understandings kept by name."""
    return [{"name": one.name, "person": one.person, "tanks": one.tanks} for one in _desk(request).recipes()]


@router.get("/imports/{job}")
def get_import(request: Request, job: JobId) -> dict[str, Any]:
    """One import."""
    desk = _desk(request)
    return whole_body(desk, desk.job(job))


@router.post("/imports/{job}/answers")
def post_answers(
    request: Request, job: JobId, answers: Annotated[dict[str, str], Body(embed=True, max_length=MOST_ANSWERS)]
) -> dict[str, Any]:
    """Answer questions by their keys; an empty answer takes one back."""
    desk = _desk(request)
    return whole_body(desk, desk.answer(job, answers))


@router.post("/imports/{job}/recipe")
def post_recipe(request: Request, job: JobId, name: Annotated[str, Body(embed=True, max_length=200)]) -> dict[str, Any]:
    """Keep how this file is understood under a name."""
    desk = _desk(request)
    found = desk.job(job)
    desk.keep(found.recipe, found.tanks, name, request.state.session.name)
    return whole_body(desk, found)


@router.post("/imports/{job}/start")
def post_start(request: Request, job: JobId) -> dict[str, Any]:
    """Start it, or let it go on where it was stopped."""
    return job_body(_desk(request).start(job))


@router.post("/imports/{job}/cancel")
def post_cancel(request: Request, job: JobId) -> dict[str, Any]:
    """Stop it; what is kept stays kept."""
    return job_body(_desk(request).cancel(job))


@router.delete("/imports/{job}/file")
def delete_file(request: Request, job: JobId) -> dict[str, Any]:
    """Delete the copy of a file whose import is over or was never begun."""
    return job_body(_desk(request).forget_file(job))


@router.get("/imports/{job}/refused.csv")
def get_refused(request: Request, job: JobId) -> FileResponse:
    """What was not taken, with line, column, reason and text."""
    found = _desk(request).job(job)
    path = File(found.report)
    if not found.report_bytes or not path.exists():
        raise NotFound(f"everything of import {job} was taken; there is no file of refusals")
    return FileResponse(path, media_type="text/csv; charset=utf-8", filename=path.name)
