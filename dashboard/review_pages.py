"""The route of the review before a cluster. Must not do: weigh."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Annotated, Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from api.domain.errors import InputError
from api.services.review import DAY_MS, Point, Reviewed, RoomReview, Verdict
from dashboard import render
from dashboard.clock import Clock
from dashboard.colony import colony
from dashboard.forecast import day
from dashboard.visit import Visit, visit

AHEAD_D = 21
MOST_TANKS = 500
VERDICT_MARK = {Verdict.FIT: "target", Verdict.FIX_FIRST: "danger", Verdict.NOT_KNOWN: "unknown"}
router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True)
class PointView:
    """One finding; ``link`` is where its data are."""

    mark: str
    verdict: str
    point: str
    words: str
    link: str
    decides: bool


@dataclass(frozen=True, slots=True)
class TankView:
    """One tank's review."""

    id: str
    name: str
    mark: str
    verdict: str
    first: str
    points: tuple[PointView, ...]


@router.get("/review")
def get_review(
    request: Request,
    tank: Annotated[list[str] | None, Query(max_length=MOST_TANKS)] = None,
    start: Annotated[str, Query(alias="from", max_length=40)] = "",
    end: Annotated[str, Query(alias="to", max_length=40)] = "",
) -> Response:
    """Are the tanks fit for the molts of some days."""
    here = visit(request)
    first, last = here.clock.local(here.clock.now_ms), here.clock.local(here.clock.now_ms + AHEAD_D * DAY_MS)
    asked: dict[str, Any] = {"tanks": tank or [], "from": start or f"{first:%Y-%m-%d}", "to": end or f"{last:%Y-%m-%d}"}
    try:
        span = (_day_ms(asked["from"], here.clock), _day_ms(asked["to"], here.clock, 1))
        made = colony(request).review.review(tank or None, *span, here.clock.now_ms)
    except InputError as error:
        return render.page("review.html", _context(here, asked) | {"error": str(error), "made": None}, 422)
    return render.page("review.html", _context(here, asked) | {"error": "", "made": _shown(made, here.clock)}, 200)


def _context(here: Visit, asked: dict[str, Any]) -> dict[str, Any]:
    tanks = sorted((now.tank.name or now.tank.id, now.tank.id) for now in here.room.tanks)
    return here.context("calendar", path="/review") | {"tanks": tanks, "asked": asked}


def _day_ms(text: str, clock: Clock, later: int = 0) -> int:
    try:
        given = date.fromisoformat(text) + timedelta(days=later)
    except (ValueError, OverflowError) as error:
        raise InputError(f"{text[:40]!r} is not a day such as 2026-03-01") from error
    if not 1971 <= given.year <= 2200:
        raise InputError(f"the year {given.year} is not one of ours; use a day such as 2026-03-01")
    return round(datetime.combine(given, time(), ZoneInfo(clock.zone)).timestamp() * 1000)


def _shown(made: RoomReview, clock: Clock) -> dict[str, Any]:
    counts = {verdict: sum(one.verdict is verdict for one in made.tanks) for verdict in Verdict}
    return {
        "tanks": [_tank(one, made, clock) for one in made.tanks],
        "counts": [(VERDICT_MARK[one], str(one), count) for one, count in counts.items() if count],
        "tasks": _tasks(made, clock),
        "span": f"{day(made.start_ms, clock)} to {day(made.end_ms - 1, clock)}",
        "made": clock.on_paper().moment(made.made_ms),
    }


def _tasks(made: RoomReview, clock: Clock) -> list[tuple[str, list[tuple[str, str]], str]]:
    """The checklist by day; what is the same in several tanks is one line."""
    found: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for one in made.tasks:
        found.setdefault((day(one.by_ms, clock), one.words), []).append((one.tank, made.names[one.tank]))
    return [(by, tanks, words) for (by, words), tanks in found.items()]


def _tank(one: Reviewed, made: RoomReview, clock: Clock) -> TankView:
    points = tuple(
        PointView(
            VERDICT_MARK[found.verdict], str(found.verdict), str(found.point), found.words,
            _link(one.tank, found.point), found.decides,
        )
        for found in one.findings
    )  # fmt: skip
    first = f"first molt from {day(max(one.first_ms, made.made_ms), clock)}" if one.first_ms is not None else ""
    return TankView(one.tank, made.names[one.tank], VERDICT_MARK[one.verdict], str(one.verdict), first, points)


def _link(tank: str, point: Point) -> str:
    """Where the data of a point are."""
    at = f"/tank/{quote(tank, safe='')}"
    if point in (Point.TEMPERATURE, Point.SWING, Point.OXYGEN, Point.STAGNATION):
        return f"{at}?span=month"
    if point is Point.PROBES:
        return "/probes"
    if point is Point.GRACE:
        return f"{at}/air"
    if point is Point.DUE:
        return f"/calendar?tank={quote(tank, safe='')}"
    return f"{at}/log"
