"""JSON and CSV of animals: asking, entering, describing anew, photographs. Must not do: compute answers."""

from __future__ import annotations

import binascii
from base64 import b64decode
from typing import Annotated, Any

from fastapi import APIRouter, Body, Path, Query, Request
from pydantic import Field
from starlette.responses import Response

from api.domain.errors import InputError
from api.services.animal_csv import read_animals, write_animals
from api.services.animal_import import import_animals
from api.services.look_back import intervals_csv
from api.web.animal_bodies import AnimalIn, animal_body
from api.web.bodies import plain

router = APIRouter(prefix="/api/v1")
WITHIN_S = 10.0
AnimalId = Annotated[int, Path(ge=1, lt=2**63)]
CSV_HEADERS = {"content-disposition": 'attachment; filename="animals.csv"'}


def _whole(service: Any, animal: int) -> dict[str, Any]:
    now_ms = service.now_ms()
    return animal_body(service.animals.animal(animal, now_ms), service.molts.of(animal, now_ms), whole=True)


@router.get("/animals")
def get_animals(request: Request) -> list[dict[str, Any]]:
    """Every animal as it stands."""
    service = request.app.state.service
    now_ms = service.now_ms()
    return [animal_body(one, service.molts.of(one.id, now_ms)) for one in service.animals.all(now_ms)]


@router.get("/intervals.csv")
def get_intervals_csv(
    request: Request,
    animal: Annotated[list[Annotated[int, Field(ge=1, lt=2**63)]] | None, Query(max_length=1000)] = None,
) -> Response:
    """Past molt intervals with their water, of some animals or of all, as CSV."""
    service = request.app.state.service
    text = intervals_csv(service.look_back.intervals(service.now_ms(), animal))
    headers = {"content-disposition": 'attachment; filename="intervals.csv"'}
    return Response(text, media_type="text/csv; charset=utf-8", headers=headers)


@router.get("/animals.csv")
def get_animals_csv(request: Request) -> Response:
    """All animals as CSV; it can be read in again."""
    service = request.app.state.service
    text = write_animals(service.lives.all().values(), service.plan().room.zone)
    return Response(text, media_type="text/csv; charset=utf-8", headers=CSV_HEADERS)


@router.post("/animals", status_code=201)
def post_animal(request: Request, given: Annotated[AnimalIn, Body()]) -> dict[str, Any]:
    """Put an animal on record."""
    service = request.app.state.service
    number = service.animals.enter(given.newcomer(), given.person, service.now_ms()).result(WITHIN_S)
    return _whole(service, number)


@router.post("/animals/import")
def post_import(
    request: Request,
    csv: Annotated[str, Body(max_length=5_000_000)],
    person: Annotated[str, Body(max_length=200)],
) -> dict[str, Any]:
    """Take animals from the text of a CSV file; rows that cannot be taken are told with their line."""
    service = request.app.state.service
    sheet = read_animals(csv, service.plan().room.zone)
    return dict(plain(import_animals(service.animals, sheet, person, service.now_ms())))


@router.get("/animals/{animal_id}")
def get_animal(request: Request, animal_id: AnimalId) -> dict[str, Any]:
    """One animal with all that is known of it."""
    service = request.app.state.service
    return _whole(service, animal_id)


@router.post("/animals/{animal_id}")
def post_change(request: Request, animal_id: AnimalId, given: Annotated[AnimalIn, Body()]) -> dict[str, Any]:
    """Describe an animal anew; what is not given stays."""
    service = request.app.state.service
    before = service.lives.get(animal_id)
    newcomer = given.newcomer(before.animal)
    service.animals.renew(animal_id, newcomer, given.person, service.now_ms(), given.confirm).result(WITHIN_S)
    return _whole(service, animal_id)


@router.get("/animals/{animal_id}/photograph")
def get_photograph(request: Request, animal_id: AnimalId) -> Response:
    """The newest photograph."""
    found = request.app.state.service.animals.photograph(animal_id)
    # Whatever a picture may hide inside, it is shown as a picture and nothing in it is run.
    headers = {"content-security-policy": "default-src 'none'; sandbox", "content-disposition": "inline"}
    return Response(found.content, media_type=found.media_type, headers=headers)


@router.post("/animals/{animal_id}/photograph", status_code=201)
def post_photograph(
    request: Request,
    animal_id: AnimalId,
    content: Annotated[str, Body(max_length=6_000_000)],
    person: Annotated[str, Body(max_length=200)],
) -> dict[str, Any]:
    """Keep a photograph: JPEG, PNG or WebP in base64."""
    service = request.app.state.service
    try:
        picture = b64decode(content, validate=True)
    except (binascii.Error, ValueError) as error:
        raise InputError("content: send the picture in base64") from error
    service.animals.put_photograph(animal_id, picture, person, service.now_ms()).result(WITHIN_S)
    return {"photograph": f"/api/v1/animals/{animal_id}/photograph"}
