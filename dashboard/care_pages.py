"""The care pages: every profile, one profile with the source of each number, changes with their reason, history.

Must not do: decide whether a change can be (``api/services/care.py``).
"""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import Future
from typing import Any, Protocol, cast
from urllib.parse import quote

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from api.domain.care_change import NUMBERS, PROFILE, STAGES, TANK, CareChange
from api.domain.errors import InputError
from api.domain.quantity import MEANING, Quantity
from api.services.care import DoubtfulCare, ProfileNow, Wish
from dashboard import render
from dashboard.care_views import change_view, profile_view, range_views
from dashboard.visit import NAME_COOKIE, Glance, Visit, remember, visit

KEPT_WITHIN_S = 10.0
NONE_WORDS = ("none", "no limit", "-")
GIVEN = (*NUMBERS, "quantity", "tank", "stage", "reason")
router = APIRouter(include_in_schema=False)


class Care(Protocol):
    """Answers about care ranges, and changes."""

    def all(self) -> tuple[ProfileNow, ...]:
        """Every profile, those in use first."""

    def profile(self, name: str) -> ProfileNow:
        """One profile. Raises NotFound."""

    def history(self, name: str) -> list[CareChange]:
        """Changes, newest first."""

    def described_since(self, name: str) -> list[int]:
        """When the room file's word changed. [ms]"""

    def change(self, wish: Wish, person: str, reason: str, *, confirm: bool = False) -> Future[None]:
        """Change numbers. Raises InputError, DoubtfulCare, NotFound."""


def care(request: Request) -> Care:
    """The service's part for care ranges."""
    return cast(Care, request.app.state.service.care)


@router.get("/care")
def get_care(request: Request) -> Response:
    """Every profile."""
    here = visit(request)
    profiles = [profile_view(one) for one in care(request).all()]
    return render.page("care.html", here.context("care") | {"profiles": profiles})


@router.get("/care/{name}")
def get_profile(request: Request, name: str) -> Response:
    """One profile; numbers named in the address stand in the form, and change nothing until it is sent."""
    here = visit(request)
    given = {key: value[:40] for key, value in request.query_params.items() if key in GIVEN}
    return render.page("care_profile.html", _context(here, request, name) | {"given": given})


@router.post("/care/{name}")
async def post_profile(request: Request, name: str) -> Response:
    """Change numbers of a profile, or of one tank that has it; or withdraw a change."""
    form = {key: str(value) for key, value in (await request.form()).items()}
    return await run_in_threadpool(_changed, request, name, form)


def _changed(request: Request, name: str, form: dict[str, str]) -> Response:
    here = visit(request)
    person = here.session.name or form.get("person", "")
    try:
        wish = _wish(name, form)
        done = care(request).change(wish, person, form.get("reason", ""), confirm=form.get("confirm") == "yes")
        done.result(KEPT_WITHIN_S)
    except InputError as error:
        said = {"error": str(error), "asked": isinstance(error, DoubtfulCare), "given": form}
        return render.page("care_profile.html", _context(here, request, name) | said, 422)
    cast(Glance, request.app.state.glance).forget()
    answer = RedirectResponse(f"/care/{quote(name, safe='')}", 303)
    if not here.session.name:
        remember(answer, request, NAME_COOKIE, " ".join(person.split())[:80])
    return answer


def _wish(name: str, form: dict[str, str]) -> Wish:
    """What the form asks for. Raises InputError."""
    tank = form.get("tank", "")
    scope, key = (TANK, tank) if tank else (PROFILE, name)
    if form.get("quantity") not in list(Quantity):
        raise InputError("choose a quantity")
    withdraw = form.get("withdraw") == "yes"
    return Wish(scope, key, Quantity(form["quantity"]), numbers_in(form), form.get("stage", ""), withdraw)


def numbers_in(form: Mapping[str, str]) -> dict[str, float | None]:
    """The numbers of a care range that a form holds; None: no limit. Raises InputError."""
    numbers: dict[str, float | None] = {}
    for number in NUMBERS:
        text = form.get(number, "").strip().replace(",", ".")
        if text:
            numbers[number] = None if text.casefold() in NONE_WORDS else _number(number, text)
    return numbers


def _number(name: str, text: str) -> float:
    try:
        return float(text)
    except ValueError as error:
        raise InputError(f"{name.replace('_', ' ')}: {text[:40]!r} is no number; write 24.5, or none") from error


def _context(here: Visit, request: Request, name: str) -> dict[str, Any]:
    part = care(request)
    now = part.profile(name)
    tanks = [(tank.id, tank.name) for tank, _ in now.tanks]
    names = dict(tanks)
    since = [here.clock.moment(one) for one in part.described_since(name)]
    return here.context("care") | {
        "profile": profile_view(now),
        "ranges": range_views(now),
        "tanks": tanks,
        "held": [change_view(one, names, here.clock) for one in now.held],
        "history": [change_view(one, names, here.clock) for one in part.history(name)],
        "described": since,
        "numbers": [(one, number_words(one)) for one in NUMBERS],
        "quantities": [(str(one), f"{MEANING[one].label}, {MEANING[one].unit_label}") for one in Quantity],
        "stages": STAGES,
        "error": "",
        "asked": False,
        "given": {},
    }


def number_words(number: str) -> str:
    """A number's name on a form."""
    return number.removesuffix("_s").replace("_", " ") + (", s" if number.endswith("_s") else "")
