"""The rehearsal pages: choose tanks, a time and numbers; what would have been raised, now and with them moved.

Must not do: rehearse, or change a setting.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Protocol, cast
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, RedirectResponse, Response

from api.domain.care import CareRange
from api.domain.errors import InputError, NotFound
from api.domain.quantity import MEANING, Quantity
from api.services.answers import TankNow
from api.services.rehearsing import MOVED, Rehearsing, Wanted
from dashboard import files, render
from dashboard.care_pages import number_words, numbers_in
from dashboard.charts import POINTS, native_lens
from dashboard.clock import Clock
from dashboard.rehearsal_figure import rehearsal_figure
from dashboard.rehearsal_views import in_force, rehearsal_view, words_of
from dashboard.theme import DARK, LIGHT
from dashboard.visit import Visit, visit
from dashboard.wall_clock import WallClock

USUAL_MS, MINUTE_MS = 7 * 86_400_000, 60_000
MOST_TANKS, MOST_CHARTED = 200, 12
LIMITED = (Quantity.OXYGEN, Quantity.TEMPERATURE)
router = APIRouter(include_in_schema=False)


class Rehearsals(Protocol):
    """The service's part for rehearsals."""

    def begin(self, wanted: Wanted) -> int:
        """Begin one; its number. Raises InputError, NotFound."""

    def one(self, number: int) -> Rehearsing:
        """How far it is, or what came of it. Raises NotFound."""

    def stop(self, number: int) -> None:
        """Give one up. Raises NotFound."""

    def at_work(self) -> Rehearsing | None:
        """The one that has not ended."""


def rehearsals(request: Request) -> Rehearsals:
    """The service's part for rehearsals."""
    return cast(Rehearsals, request.app.state.service.rehearsals)


@router.get("/rehearsal")
def get_rehearsal(
    request: Request,
    tank: Annotated[list[str] | None, Query(max_length=MOST_TANKS)] = None,
    quantity: Annotated[str, Query(max_length=40)] = "",
    start: Annotated[str, Query(max_length=40)] = "",
    end: Annotated[str, Query(max_length=40)] = "",
) -> Response:
    """What to rehearse."""
    here = visit(request)
    asked = {"tanks": tank or [], "quantity": quantity, "start": start, "end": end}
    return render.page("rehearsal.html", _context(here, request, asked))


@router.post("/rehearsal")
async def post_rehearsal(request: Request) -> Response:
    """Begin."""
    form = await request.form()
    tanks = [str(one) for one in form.getlist("tank")][:MOST_TANKS]
    given = {key: str(value)[:40] for key, value in form.items() if key != "tank"}
    return await run_in_threadpool(_begun, request, tanks, given)


def _begun(request: Request, tanks: list[str], given: dict[str, str]) -> Response:
    here = visit(request)
    asked = {"tanks": tanks} | {key: given.get(key, "") for key in ("quantity", "start", "end")}
    try:
        number = rehearsals(request).begin(_wanted(tanks, given, here.clock))
    except InputError as error:
        said = {"error": str(error), "given": given}
        return render.page("rehearsal.html", _context(here, request, asked) | said, 422)
    return RedirectResponse(f"/rehearsal/{number}", 303)


def _wanted(tanks: Sequence[str], given: Mapping[str, str], clock: Clock) -> Wanted:
    """What a form asks for. Raises InputError."""
    if given.get("quantity") not in list(Quantity):
        raise InputError("choose a quantity")
    numbers = {name: value for name, value in numbers_in(given).items() if name in MOVED}
    if not numbers:
        raise InputError("move a number: without one there is nothing to compare")
    times = clock.parse(given.get("start", "")), clock.parse(given.get("end", ""))
    return Wanted(tuple(dict.fromkeys(tanks)), *times, Quantity(given["quantity"]), numbers)


@router.get("/rehearsal/{number}")
def get_one(request: Request, number: int) -> Response:
    """How far a rehearsal is, or what came of it."""
    here = visit(request)
    one = rehearsals(request).one(number)
    wanted = one.wanted
    asked = {
        "tanks": list(wanted.tanks), "quantity": str(wanted.quantity),
        "start": here.clock.field(wanted.start_ms), "end": here.clock.field(wanted.end_ms),
    }  # fmt: skip
    given = {name: "none" if value is None else f"{value:g}" for name, value in wanted.numbers.items()}
    context = _context(here, request, asked) | {"one": one, "given": given, "words": words_of(wanted)}
    if one.over and one.error:
        context |= {"error": f"No answer: {one.error}."}
    elif one.over:
        context |= {"view": rehearsal_view(one, _places(here), here.clock), "uses": _uses(here, wanted)}
        context |= {"charts": _charts(here, one), "plotly": files.plotly_address()}
    page = render.page("rehearsal.html", context)
    page.headers["content-security-policy"] = render.CHART_POLICY
    return page


@router.post("/rehearsal/{number}/stop")
def post_stop(request: Request, number: int) -> Response:
    """Give a rehearsal up."""
    rehearsals(request).stop(number)
    return RedirectResponse(f"/rehearsal/{number}", 303)


@router.get("/rehearsal/{number}/figure")
def get_figure(request: Request, number: int, tank: str, look: str = "light") -> Response:
    """One tank's chart of the quantity whose numbers were moved."""
    here = visit(request)
    one = rehearsals(request).one(number)
    if tank not in one.wanted.tanks:
        raise NotFound(f"this rehearsal has no tank {tank[:80]!r}")
    quantity = one.wanted.quantity
    series = here.service.read.series(tank, quantity, one.wanted.start_ms, one.wanted.end_ms, POINTS)
    wall = WallClock(here.clock, series.start_ms, series.end_ms)
    theme = DARK if look == "dark" else LIGHT
    made = rehearsal_figure(
        series, one, native_lens(quantity, here.units), wall, theme, MEANING[quantity].label
    )  # fmt: skip
    return JSONResponse(made)


def _context(here: Visit, request: Request, asked: dict[str, Any]) -> dict[str, Any]:
    """The forms. The numbers in force are those of the first tank chosen."""
    names = {now.tank.id: now for now in here.room.tanks}
    first = next((names[one] for one in asked["tanks"] if one in names), None)
    now_ms = here.clock.now_ms // MINUTE_MS * MINUTE_MS
    quantity = asked["quantity"] if asked["quantity"] in list(Quantity) else str(_first_limited(first))
    care = _care(first, Quantity(quantity))
    return here.context("rehearsal", path="/rehearsal") | {
        "tanks": sorted((now.tank.name or now.tank.id, now.tank.id) for now in here.room.tanks),
        "asked": {
            "tanks": asked["tanks"], "quantity": quantity,
            "start": asked["start"] or here.clock.field(now_ms - USUAL_MS),
            "end": asked["end"] or here.clock.field(now_ms),
        },
        "place": first.tank.name if first is not None else "",
        "chosen": ", ".join(names[one].tank.name for one in asked["tanks"] if one in names),
        "quantities": [(str(one), f"{MEANING[one].label}, {MEANING[one].unit_label}") for one in Quantity],
        "quantity_words": MEANING[Quantity(quantity)].label,
        "numbers": [(name, number_words(name)) for name in MOVED],
        "in_force": in_force(care, MOVED) if care is not None else {},
        "at_work": rehearsals(request).at_work(),
        "error": "", "given": {}, "one": None, "view": None, "charts": [], "uses": [], "words": "", "plotly": "",
    }  # fmt: skip


def _first_limited(now: TankNow | None) -> Quantity:
    return next((one for one in LIMITED if _care(now, one) is not None), LIMITED[0])


def _care(now: TankNow | None, quantity: Quantity) -> CareRange | None:
    found = (item.care for item in now.latest if item.quantity is quantity) if now is not None else iter(())
    return next((care for care in found if care is not None), None)


def _places(here: Visit) -> Any:
    names = {now.tank.id: now.tank.name for now in here.room.tanks}
    return lambda tank: names.get(tank, tank) if tank is not None else here.room.room.name


def _uses(here: Visit, wanted: Wanted) -> list[tuple[str, str]]:
    """Where the moved numbers can be put in force: of each tank, and of the profile they share."""
    care = {now.tank.id: (now.tank.name, now.tank.care) for now in here.room.tanks}
    numbers = {name: "none" if value is None else f"{value:g}" for name, value in wanted.numbers.items()}
    asked = {"quantity": str(wanted.quantity)} | numbers
    own = [one for one in wanted.tanks if one in care]
    found = [(care[one][1], one, f"for {care[one][0]} only") for one in own] if len(own) <= MOST_CHARTED else []
    profiles = dict.fromkeys(care[one][1] for one in own)
    found += [(profile, "", f"for every tank with the profile {profile}") for profile in profiles]
    return [
        (f"/care/{profile}?{urlencode(asked | ({'tank': tank} if tank else {}))}#change", words)
        for profile, tank, words in found
    ]


def _charts(here: Visit, one: Rehearsing) -> list[tuple[str, str]]:
    """(title, address) of each tank's chart."""
    names = {now.tank.id: now.tank.name for now in here.room.tanks}
    unit = native_lens(one.wanted.quantity, here.units).unit
    title = f"{MEANING[one.wanted.quantity].label}, {unit}".rstrip(", ")
    tanks = [tank for tank in one.wanted.tanks if tank in names][:MOST_CHARTED]
    return [
        (f"{names[tank]}: {title}", f"/rehearsal/{one.number}/figure?{urlencode({'tank': tank})}") for tank in tanks
    ]
