"""JSON and CSV of what happened at the tanks: asking, entering, correcting, withdrawing. Must not do: decide."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body, Depends, Path, Query, Request
from starlette.responses import Response

from api.domain.husbandry import EventKind
from api.services.animal_csv import write_events
from api.storage.animal_base import Asked
from api.web.animal_bodies import EventIn, event_body
from api.web.times import parse

router = APIRouter(prefix="/api/v1")
WITHIN_S = 10.0
EventId = Annotated[int, Path(ge=1, lt=2**63)]
CSV_HEADERS = {"content-disposition": 'attachment; filename="events.csv"'}


def _asked(
    tank: str | None = None,
    animal: Annotated[int | None, Query(ge=1, lt=2**63)] = None,
    kind: Annotated[list[EventKind] | None, Query()] = None,
    start: Annotated[str | None, Query(alias="from")] = None,
    to: str | None = None,
    standing: bool = False,
) -> Asked:
    """What a request asks for."""
    start_ms = None if start is None else parse(start, "from")
    end_ms = None if to is None else parse(to, "to")
    return Asked(tank, animal, [str(one) for one in kind] if kind else None, start_ms, end_ms, standing)


@router.get("/events")
def get_events(
    request: Request,
    asked: Annotated[Asked, Depends(_asked)],
    most: Annotated[int, Query(ge=1, le=10_000)] = 1000,
) -> list[dict[str, Any]]:
    """Events, newest first; ``standing`` leaves out withdrawn and corrected ones."""
    return [event_body(entry) for entry in request.app.state.service.events.entries(asked, most)]


@router.get("/events.csv")
def get_events_csv(request: Request, asked: Annotated[Asked, Depends(_asked)]) -> Response:
    """Events as CSV, oldest first, withdrawn and corrected ones too."""
    service = request.app.state.service
    names = {number: life.animal.name for number, life in service.lives.all().items()}
    text = write_events(service.events.entries(asked, -1, newest_first=False), names)
    return Response(text, media_type="text/csv; charset=utf-8", headers=CSV_HEADERS)


@router.post("/events", status_code=201)
def post_event(request: Request, given: Annotated[EventIn, Body()]) -> dict[str, Any]:
    """Put an event on record; 409 when it is unusual and was not confirmed."""
    service = request.app.state.service
    now_ms = service.now_ms()
    work = service.events.enter(given.event(now_ms), given.person, now_ms, given.replaces, given.confirm)
    logged = work.result(WITHIN_S)
    return {**event_body(service.events.entry(logged.id)), "reminders": logged.reminders}


@router.get("/events/{event_id}")
def get_event(request: Request, event_id: EventId) -> dict[str, Any]:
    """One event."""
    return event_body(request.app.state.service.events.entry(event_id))


@router.post("/events/{event_id}/withdraw")
def post_withdraw(
    request: Request, event_id: EventId, person: Annotated[str, Body(max_length=200, embed=True)]
) -> dict[str, Any]:
    """Take an event out of force; it stays on record."""
    service = request.app.state.service
    service.events.withdraw(event_id, person, service.now_ms()).result(WITHIN_S)
    return event_body(service.events.entry(event_id))
