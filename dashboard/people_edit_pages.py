"""Changing who is told: a form for one person, and what becomes of it.

Must not do: show an address; it may hold a password. Of a channel its kind is all that is told.
"""

from __future__ import annotations

from typing import Any, cast
from urllib.parse import quote

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from api.domain.errors import InputError
from api.domain.people import WEEKDAYS, time_words
from api.services.people_edit import DoubtfulPeople, WishedPerson
from dashboard import render
from dashboard.people_pages import LEAST_WORDS
from dashboard.reaching import PeopleEdit, reaching
from dashboard.visit import NAME_COOKIE, Glance, Visit, remember, visit

KEPT_WITHIN_S = 10.0
router = APIRouter(include_in_schema=False)


@router.get("/people/person")
def get_person(request: Request, name: str = "") -> Response:
    """The form of a person; without a name, of a new one."""
    return render.page("person.html", _context(visit(request), name))


@router.post("/people/person")
async def post_person(request: Request) -> Response:
    """Set a person, leave one out, or go back to what the room file says."""
    form = await request.form()
    return await run_in_threadpool(_posted, request, form)


def _posted(request: Request, form: FormData) -> Response:
    here, said = visit(request), {key: str(value) for key, value in form.items()}
    name, by = said.get("name", ""), here.session.name or said.get("person", "")
    try:
        _do(reaching(request).edit, said, form, by)
    except InputError as error:
        new = said.get("new") == "yes"
        more = {"error": str(error), "asked": isinstance(error, DoubtfulPeople), "given": _given(said, form)}
        return render.page("person.html", _context(here, "" if new else name) | more, 422)
    cast(Glance, request.app.state.glance).forget()
    answer = RedirectResponse(f"/people?changed={quote(' '.join(name.split())[:80], safe='')}", 303)
    if not here.session.name:
        remember(answer, request, NAME_COOKIE, " ".join(by.split())[:80])
    return answer


def _do(edit: PeopleEdit, said: dict[str, str], form: FormData, by: str) -> None:
    name, confirm = said.get("name", ""), said.get("confirm") == "yes"
    if said.get("do") == "leave_out":
        edit.leave_out(name, by, confirm=confirm).result(KEPT_WITHIN_S)
    elif said.get("do") == "as_file":
        edit.as_file(name, by, confirm=confirm).result(KEPT_WITHIN_S)
    else:
        edit.save(_wish(said, form), by, new=said.get("new") == "yes", confirm=confirm).result(KEPT_WITHIN_S)


def _wish(said: dict[str, str], form: FormData) -> WishedPerson:
    """What the form asks for. Raises InputError."""
    first = said.get("first", "")
    keep = [_number(str(one)) for one in form.getlist("keep")]
    if first.isdecimal() and int(first) in keep:
        keep = [int(first), *(one for one in keep if one != int(first))]
    return WishedPerson(
        name=said.get("name", ""),
        weekdays=tuple(
            _number(str(one)) for one in form.getlist("day") if str(one) in {"0", "1", "2", "3", "4", "5", "6"}
        ),
        hours=f"{said.get('from', '')}-{said.get('to', '')}",
        priority=said.get("priority", ""),
        keep=tuple(keep),
        add=said.get("add", ""),
        first=first == "new",
        place=_number(said["place"]) if said.get("place") else None,
    )


def _number(text: str) -> int:
    if not text.isdecimal() or len(text) > 4:
        raise InputError(f"{text[:20]!r} is no number of this form; load the page again")
    return int(text)


def _given(said: dict[str, str], form: FormData) -> dict[str, Any]:
    """What was filled in, to be shown again; a new address is not: it may hold a password."""
    return {
        "name": said.get("name", ""),
        "days": {str(one) for one in form.getlist("day")},
        "from": said.get("from", ""),
        "to": said.get("to", ""),
        "priority": said.get("priority", ""),
        "place": said.get("place", ""),
        "keep": {str(one) for one in form.getlist("keep")},
        "first": said.get("first", ""),
        "do": said.get("do", ""),
        "typed": bool(said.get("add", "").strip()),
    }


def _context(here: Visit, name: str) -> dict[str, Any]:
    """The form, filled in with what is in force. Raises NotFound."""
    part, people = reaching(here.request), reaching(here.request).people.now(here.clock.now_ms).people
    now = part.edit.person(name) if name else None
    days = {str(one) for one in now.person.weekdays} if now is not None else set("0123456")
    given = {
        "name": name,
        "days": days,
        "from": time_words(now.person.from_min) if now is not None else "07:00",
        "to": time_words(now.person.to_min % 1440) if now is not None else "22:00",
        "priority": now.person.priority if now is not None else "today",
        "place": str(now.place) if now is not None else str(len(people) + 1),
        "keep": {str(number) for number in range(len(now.kinds))} if now is not None else set(),
        "first": "0" if now is not None else "new",
        "do": "",
        "typed": False,
    }
    count = len(people) + (1 if now is None else 0)
    return here.context("people", path="/people") | {
        "new": now is None,
        "kinds": list(enumerate(now.kinds)) if now is not None else [],
        "in_file": now is not None and now.in_file,
        "changed": now is not None and now.changed,
        "days": list(enumerate(WEEKDAYS)),
        "places": [str(one) for one in range(1, count + 1)],
        "leasts": list(LEAST_WORDS.items()),
        "given": given,
        "error": "",
        "asked": False,
    }
