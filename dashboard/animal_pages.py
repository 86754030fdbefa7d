"""The routes of the animals' pages: the list, one animal, entering, describing anew, CSV, charts of growth.

Must not do: format (``animals.py``) or decide.
"""

from __future__ import annotations

from typing import Annotated, Any, cast

from fastapi import APIRouter, Depends, Request
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, RedirectResponse, Response

from api.domain.animal import SPECIES, Limb, Sex
from api.domain.errors import InputError
from api.services.animal_csv import COLUMNS, read_animals
from api.services.animal_import import Imported, import_animals
from dashboard import event_choices, files, render
from dashboard.animals import (
    animal_view,
    described,
    fields_of_animal,
    in_order,
    limb_views,
    newcomer_of,
    remark_words,
)
from dashboard.colony import Maybe, Number, colony
from dashboard.event_form import Fields, first
from dashboard.forecast import clutch_lines, molt_forecast
from dashboard.growth import growth_figure, hiatt_figure
from dashboard.log_pages import KEPT_WITHIN_S, fields_of, kept_context
from dashboard.look_back_pages import views
from dashboard.tank_log import entry_view
from dashboard.theme import DARK, LIGHT
from dashboard.visit import NAME_COOKIE, Glance, Visit, remember, visit

MOST_ENTRIES = 200
router = APIRouter(include_in_schema=False)


@router.get("/animals")
def get_animals(request: Request, tank: str = "") -> Response:
    """Every animal, the soft first."""
    here = visit(request)
    there = next((now.tank for now in here.room.tanks if now.tank.id == tank), None)
    given = {"tank": [tank], "species": [there.species] if there is not None and there.species else []}
    return _list(here, given if tank else {})


def _list(
    here: Visit, given: Fields, error: str = "", imported: Imported | None = None, pasted: str = "", status: int = 200
) -> Response:
    service, now_ms = colony(here.request), here.clock.now_ms
    foretold = {one.id: service.molts.of(one.id, now_ms) for one in service.animals.all(now_ms) if one.life.alive}
    short = {number: molt_forecast(one, here.clock).short for number, one in foretold.items() if one is not None}
    ordered = in_order(service.animals.all(now_ms))
    animals = [animal_view(one, here.clock, short.get(one.id, "")) for one in ordered]
    context = here.context("animals", path="/animals") | event_choices.shared(here) | _describing(given) | {
        "animals": [one for one in animals if one.alive], "dead": [one for one in animals if not one.alive],
        "error": error, "imported": imported, "pasted": pasted, "columns": COLUMNS,
    }  # fmt: skip
    return render.page("animals.html", context, status)


def _describing(given: Fields) -> dict[str, Any]:
    return {"given": given, "species": SPECIES, "sexes": [str(sex) for sex in Sex], "every_limb": list(Limb)}


@router.post("/animals")
def post_animal(request: Request, fields: Annotated[Fields, Depends(fields_of)]) -> Response:
    """Put an animal on record."""
    here = visit(request)
    service, name = colony(request), here.session.name or first(fields, "person")
    try:
        number = service.animals.enter(newcomer_of(fields), name, service.now_ms()).result(KEPT_WITHIN_S)
    except InputError as error:
        return _list(here, fields, str(error), status=422)
    return _changed(here, f"/animal/{number}", name)


@router.post("/animals/import")
def post_import(request: Request, fields: Annotated[Fields, Depends(fields_of)]) -> Response:
    """Take animals from pasted CSV; rows that cannot be taken are told with their line."""
    here = visit(request)
    service, name = colony(request), here.session.name or first(fields, "person")
    text = next(iter(fields.get("csv", [])), "")
    try:
        sheet = read_animals(text, here.room.room.zone)
        done = import_animals(cast(Any, service.animals), sheet, name, service.now_ms())
    except InputError as error:
        return _list(here, {}, str(error), pasted=text, status=422)
    cast(Glance, request.app.state.glance).forget()
    return _list(visit(request), {}, imported=done, pasted=text if done.faults else "")


@router.get("/animal/{animal_id}")
def get_animal(request: Request, animal_id: Number, kept: Maybe = None) -> Response:
    """One animal."""
    return _page(visit(request), animal_id, kept)


def _page(
    here: Visit, animal_id: int, kept: int | None = None, given: Fields | None = None, error: str = "",
    status: int = 200,
) -> Response:  # fmt: skip
    service = colony(here.request)
    now = service.animals.animal(animal_id, here.clock.now_ms)
    names = event_choices.names(here)
    life = now.life
    left, right = limb_views(life)
    molt = service.molts.of(animal_id, here.clock.now_ms)
    clutch = service.molts.clutch(animal_id, here.clock.now_ms)
    context = here.context("animals", path=f"/animal/{animal_id}") | event_choices.shared(here) | {
        **_describing(given or fields_of_animal(now.animal)), **kept_context(here, kept),
        "animal": animal_view(now, here.clock), "described": now.animal,
        "limb_pairs": list(zip(left, right, strict=True)),
        "molt": molt_forecast(molt, here.clock) if molt is not None else None,
        "clutch": clutch_lines(clutch, here.clock) if clutch is not None else (),
        "remarks": remark_words(now.animal), "choices": event_choices.chips(here, [now]), "error": error,
        "stays": [(names.tanks.get(one.tank, one.tank), one.tank, here.clock.moment(one.since_ms),
                   here.clock.maybe(one.until_ms)) for one in reversed(life.stays)],
        "sizes": [(here.clock.moment(one.time_ms), one.carapace_mm, one.mass_g) for one in reversed(life.sizes)],
        "increments": [(here.clock.moment(one.molt_ms), one.before_mm, one.after_mm) for one in life.increments],
        "entries": [entry_view(one, names, here.clock) for one in service.events.of_animal(animal_id, MOST_ENTRIES)],
        "last_look": event_choices.last_look(here, service.events.of_animal(animal_id, 1)),
        "intervals": views(service.look_back.intervals(here.clock.now_ms, [animal_id]), here.clock, here.units),
        "plotly": files.plotly_address(), "describing": bool(error),
    }  # fmt: skip
    page = render.page("animal.html", context, status)
    page.headers["content-security-policy"] = render.CHART_POLICY
    return page


@router.post("/animal/{animal_id}")
def post_describe(request: Request, animal_id: Number, fields: Annotated[Fields, Depends(fields_of)]) -> Response:
    """Describe an animal anew; the earlier description stays on record."""
    here = visit(request)
    service, name = colony(request), here.session.name or first(fields, "person")
    service.animals.animal(animal_id, here.clock.now_ms)
    try:
        service.animals.change(animal_id, described(fields), name, service.now_ms()).result(KEPT_WITHIN_S)
    except InputError as error:
        return _page(here, animal_id, given=fields, error=str(error), status=422)
    return _changed(here, f"/animal/{animal_id}", name)


@router.get("/animal/{animal_id}/figure")
def get_figure(request: Request, animal_id: Number, of: str = "growth", look: str = "light") -> Response:
    """A chart of its growth."""
    here = visit(request)
    life = colony(request).animals.animal(animal_id, here.clock.now_ms).life
    make = {"growth": growth_figure, "hiatt": hiatt_figure}.get(of)
    if make is None:
        raise HTTPException(404, "there is no such chart")
    return JSONResponse(make(life, here.clock, DARK if look == "dark" else LIGHT))


def _changed(here: Visit, path: str, name: str) -> Response:
    cast(Glance, here.request.app.state.glance).forget()
    answer = RedirectResponse(path, 303)
    if not here.session.name:
        remember(answer, here.request, NAME_COOKIE, " ".join(name.split())[:80])
    return answer
