"""The routes of a tank's log: entering with a few taps, undoing, correcting, and the label that leads to it.

Must not do: format (``tank_log.py``) or decide.
"""

from __future__ import annotations

from typing import Annotated, Any, cast
from urllib.parse import quote, urlsplit

from fastapi import APIRouter, Depends, Form, Request
from starlette.responses import RedirectResponse, Response

from api.domain.errors import InputError, NotFound
from api.domain.husbandry import KIND_NAMES, EventKind
from api.services.event_checks import Doubtful
from api.services.husbandry import reminders_of
from dashboard import event_choices, render
from dashboard.colony import Maybe, Number, colony
from dashboard.event_form import Fields, event_of, first, whole
from dashboard.tank_log import entry_view
from dashboard.visit import NAME_COOKIE, Glance, Visit, local_path, remember, visit

KEPT_WITHIN_S = 10.0
MOST_SHOWN = 10
router = APIRouter(include_in_schema=False)


async def fields_of(request: Request) -> Fields:
    """A form as it was sent."""
    form = await request.form()
    found: dict[str, list[str]] = {}
    for name, value in form.multi_items():
        if isinstance(value, str):
            found.setdefault(name, []).append(value)
    return found


@router.get("/t/{tank_id}")
def get_short(tank_id: str) -> Response:
    """The short way to a tank's log, as it stands on the label."""
    return RedirectResponse(f"/tank/{quote(tank_id, safe='')}/log", 303)


@router.get("/tank/{tank_id}/log")
def get_log(request: Request, tank_id: str, kept: Maybe = None) -> Response:
    """One tank's log."""
    here = visit(request)
    return render.page("tank_log.html", log_context(here, tank_id, kept))


def log_context(here: Visit, tank_id: str, kept: int | None) -> dict[str, Any]:
    """What a tank's log needs.

    Raises NotFound.
    """
    service = colony(here.request)
    tank = here.service.read.tank(tank_id, here.clock.now_ms).tank
    animals = [one for one in service.animals.all(here.clock.now_ms) if one.life.alive]
    names = event_choices.names(here)
    entries = [entry_view(one, names, here.clock) for one in service.events.of_tank(tank_id, MOST_SHOWN)]
    path = f"/tank/{quote(tank_id, safe='')}/log"
    return here.context("tank", path=path) | event_choices.shared(here) | {
        "tank": tank,
        "here_animals": event_choices.chips(here, [one for one in animals if one.life.tank == tank_id]),
        "elsewhere": event_choices.chips(here, [one for one in animals if one.life.tank != tank_id]),
        "entries": entries,
        "last_look": event_choices.last_look(here, service.events.of_tank(tank_id, 1)),
        **kept_context(here, kept),
    }  # fmt: skip


def kept_context(here: Visit, kept: int | None) -> dict[str, Any]:
    """What was just entered, and what to remember after it."""
    if kept is None:
        return {"kept": None, "reminders": ()}
    try:
        entry = colony(here.request).events.entry(kept)
    except NotFound:
        return {"kept": None, "reminders": ()}
    fresh = entry.standing and here.clock.now_ms - entry.entered_ms < 600_000
    view = entry_view(entry, event_choices.names(here), here.clock)
    reminders = reminders_of(entry.event.kind) if fresh else ()
    return {"kept": view if fresh or not entry.standing else None, "reminders": reminders}


@router.post("/event")
def post_event(request: Request, fields: Annotated[Fields, Depends(fields_of)]) -> Response:
    """Put an event on record, or a correction of one; what cannot be kept is asked about with the form as it was."""
    here = visit(request)
    service, back = colony(request), local_path(first(fields, "back") or "/animals")
    name = here.session.name or first(fields, "person")
    try:
        now_ms = service.now_ms()
        event = event_of(fields, here.clock, now_ms)
        replaces, confirm = whole(fields, "replaces"), first(fields, "confirm") == "yes"
        kept = service.events.enter(event, name, now_ms, replaces, confirm).result(KEPT_WITHIN_S)
    except Doubtful as doubt:
        return _again(here, fields, questions=doubt.questions, status=409)
    except InputError as error:
        return _again(here, fields, error=str(error), status=422)
    return _back(here, back, kept.id, name)


def _back(here: Visit, back: str, kept: int, name: str) -> Response:
    cast(Glance, here.request.app.state.glance).forget()
    joint = "&" if "?" in back else "?"
    answer = RedirectResponse(f"{back}{joint}kept={kept}", 303)
    if not here.session.name:
        remember(answer, here.request, NAME_COOKIE, name[:80])
    return answer


def _again(
    here: Visit, fields: Fields, error: str = "", questions: tuple[str, ...] = (), status: int = 200
) -> Response:
    """The form once more, filled in as it was."""
    try:
        kind = EventKind(first(fields, "kind"))
    except ValueError as wrong:
        raise InputError("this form holds an event that does not exist; load the page again") from wrong
    back = local_path(first(fields, "back") or "/animals")
    context = here.context("tank", path=back) | event_choices.shared(here) | {
        "entry": None, "kind": kind, "title": KIND_NAMES[kind], "given": fields, "error": error,
        "questions": questions, "back": back, "replaces": first(fields, "replaces"),
        "choices": event_choices.everyone(here), "last_look": first(fields, "since"),
    }  # fmt: skip
    return render.page("event.html", context, status)


@router.get("/event/{event_id}")
def get_event(request: Request, event_id: Number, kept: Maybe = None) -> Response:
    """One entry, with the form to correct it."""
    here = visit(request)
    entry = colony(request).events.entry(event_id)
    if kept is not None and kept != event_id:
        return RedirectResponse(f"/event/{kept}", 303)
    fields = event_choices.fields_of_entry(entry, here.clock)
    context = here.context("tank", path=f"/event/{event_id}") | event_choices.shared(here) | {
        "entry": entry_view(entry, event_choices.names(here), here.clock), "standing": entry.standing,
        "entered": here.clock.moment(entry.entered_ms), "replaces": event_id, "replaced_by": entry.replaced_by,
        "kind": entry.event.kind, "title": KIND_NAMES[entry.event.kind], "given": fields, "error": "",
        "questions": (), "back": f"/event/{event_id}", "choices": event_choices.everyone(here),
        "last_look": first(fields, "since"), "was": entry.replaces,
    }  # fmt: skip
    return render.page("event.html", context)


@router.post("/event/{event_id}/withdraw")
def post_withdraw(
    request: Request,
    event_id: Number,
    person: Annotated[str, Form()] = "",
    back: Annotated[str, Form()] = "",
) -> Response:
    """Take an entry out of force; it stays on record."""
    here = visit(request)
    service = colony(request)
    service.events.withdraw(event_id, here.session.name or person, service.now_ms()).result(KEPT_WITHIN_S)
    cast(Glance, request.app.state.glance).forget()
    return RedirectResponse(local_path(back or f"/event/{event_id}"), 303)


@router.post("/name")
def post_name(request: Request, person: Annotated[str, Form()] = "", next: Annotated[str, Form()] = "/") -> Response:
    """Remember who enters from this browser."""
    answer = RedirectResponse(local_path(next), 303)
    remember(answer, request, NAME_COOKIE, " ".join(person.split())[:80])
    return answer


@router.get("/tank/{tank_id}/label")
def get_label(request: Request, tank_id: str, base: str = "") -> Response:
    """A label with the short way to a tank's log, to be printed."""
    here = visit(request)
    tank = here.service.read.tank(tank_id, here.clock.now_ms).tank
    return _labels(here, [(tank.id, tank.name)], base)


@router.get("/labels")
def get_labels(request: Request, base: str = "") -> Response:
    """Labels of all tanks on one sheet."""
    here = visit(request)
    return _labels(here, sorted((now.tank.id, now.tank.name) for now in here.room.tanks), base)


def _labels(here: Visit, tanks: list[tuple[str, str]], base: str) -> Response:
    usual = f"{here.request.url.scheme}://{here.request.url.netloc}"
    wrong = "" if not base or _usable(base) else "That is no address such as http://192.168.1.20:8080."
    shown = base.rstrip("/") if base and not wrong else usual
    labels = [
        {"id": tank, "name": name or tank, "address": address, "code": code(address)}
        for tank, name in tanks
        for address in [f"{shown}/t/{quote(tank, safe='')}"]
    ]
    local = urlsplit(shown).hostname in ("localhost", "127.0.0.1", "::1")
    context = here.context("tank") | {"labels": labels, "base": base or shown, "wrong": wrong, "local": local}
    return render.page("qr.html", context)


def _usable(base: str) -> bool:
    try:
        parts = urlsplit(base)
        port_ok = parts.port is None or parts.port > 0
    except ValueError:
        return False
    plain = not (parts.query or parts.fragment or parts.username or parts.path.strip("/"))
    return parts.scheme in ("http", "https") and bool(parts.hostname) and plain and port_ok and base.isascii()


def code(address: str) -> str:
    """A QR code as a drawing.

    Raises InputError when the package that draws it is not installed.
    """
    try:
        import segno
    except ImportError as error:
        raise InputError("the segno package draws the labels and is not installed; install the requirements") from error
    # Level Q still reads with a quarter of it under a splash of water.
    made = segno.make_qr(address, error="q", boost_error=False)
    return made.svg_inline(scale=4, border=4, dark="#000", light="#fff", omitsize=True, svgclass="qr", lineclass=None)
