"""The morning report as a page: the night tank by tank, probes not to be trusted, what was done, what is due.

Must not do: compute, or say what the service did not.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Protocol, cast

from fastapi import APIRouter, Request
from starlette.responses import Response

from api.domain.band import Band
from api.domain.errors import InputError
from api.domain.quantity import MEANING, Quantity
from api.domain.words import KIND_WORDS, duration
from api.services.morning_answers import MorningReport, NightAlert, NightQuantity, NightTank
from api.services.morning_words import Say, difference, quantity_words, summary
from dashboard import render
from dashboard.charts import native_lens
from dashboard.clock import MONTHS, WEEKDAYS, Clock, Moment, zone_of
from dashboard.units import FAHRENHEIT, Units
from dashboard.visit import Visit, visit
from dashboard.words import BAND_WORDS, PRIORITY_WORDS

router = APIRouter(include_in_schema=False)
OLDEST = date(2000, 1, 1)


class Reports(Protocol):
    """Morning reports."""

    def report(self, day: date, now_ms: int) -> MorningReport:
        """The report of one morning."""

    def today(self, now_ms: int) -> date:
        """The day whose morning it is, or will be next."""


@dataclass(frozen=True, slots=True)
class QuantityView:
    """One quantity's night as a row."""

    label: str
    probe: str
    spread: str
    change: str
    outside: str
    band: str


@dataclass(frozen=True, slots=True)
class NightAlertView:
    """An alert of the night."""

    id: int
    words: str
    priority: str
    since: Moment
    ended: Moment | None
    person: str
    late: bool


@dataclass(frozen=True, slots=True)
class NightTankView:
    """One tank's night."""

    id: str
    name: str
    band: str
    word: str
    said: tuple[str, ...]
    rows: tuple[QuantityView, ...]
    alerts: tuple[NightAlertView, ...]


@router.get("/morning")
def get_morning(request: Request, day: str = "") -> Response:
    """The report of a morning, of the last one if none is named."""
    here = visit(request)
    reports = cast(Reports, request.app.state.service.morning.reports)
    today = reports.today(here.clock.now_ms)
    chosen = min(_day(day), today) if day else today
    report = reports.report(chosen, here.clock.now_ms)
    return render.page("morning.html", here.context("morning") | _context(report, chosen, today, here))


def _day(text: str) -> date:
    try:
        day = date.fromisoformat(text)
    except ValueError as error:
        raise InputError(f"{text[:40]!r} is no day; write it like 2026-09-21") from error
    if day < OLDEST:
        raise InputError(f"{text[:40]} is before anything was kept")
    return day


def _context(report: MorningReport, chosen: date, today: date, here: Visit) -> dict[str, Any]:
    clock = here.clock
    tanks = [_tank(one, here.units, clock) for one in report.tanks]
    return {
        "day": f"{WEEKDAYS[chosen.weekday()]} {chosen.day} {MONTHS[chosen.month - 1]} {chosen.year}",
        "before": (chosen - timedelta(days=1)).isoformat() if chosen > OLDEST else "",
        "after": (chosen + timedelta(days=1)).isoformat() if chosen < today else "",
        "start": clock.moment(report.start_ms),
        "end": clock.moment(report.end_ms),
        "over": report.over,
        "sum": summary(report),
        "tanks": tanks,
        "astray": [one for one in tanks if one.band != Band.TARGET or one.alerts],
        "room_alerts": [_alert(one, clock) for one in report.room_alerts],
        "distrusted": report.distrusted,
        "done": [(clock.moment(one.time_ms), one) for one in report.done],
        "due": [(clock.maybe(one.when_ms), one) for one in report.due],
        "is_today": chosen == today,
    }


def say_in(units: Units) -> Say:
    """Values in the units a keeper chose; oxygen stays in the unit it is limited by."""

    def changed(change: float, quantity: Quantity) -> str:
        if quantity is Quantity.TEMPERATURE and units.temperature == FAHRENHEIT:
            return f"{round(change * 1.8, 1) or 0.0:+.1f} °F"
        return difference(change, quantity)

    return Say(lambda value, quantity: native_lens(quantity, units).text(value), changed)


def _tank(now: NightTank, units: Units, clock: Clock) -> NightTankView:
    say, zone = say_in(units), zone_of(clock.zone)
    return NightTankView(
        id=now.tank.id,
        name=now.tank.name,
        band=now.band,
        word=BAND_WORDS[now.band] if now.band is not Band.TARGET else "in its target",
        said=tuple(words for one in now.quantities for words in quantity_words(one, zone, say)),
        rows=tuple(_row(one, say) for one in now.quantities),
        alerts=tuple(_alert(one, clock) for one in now.alerts),
    )


def _row(one: NightQuantity, say: Say) -> QuantityView:
    label, water = MEANING[one.quantity].label, one.water
    if water is None:
        return QuantityView(label, one.probe, "not known", "", "", Band.UNKNOWN)
    outside = ", ".join(
        f"{'below' if out.side == 'low' else 'above'} for {duration(out.for_s)}" for out in water.outside
    )
    return QuantityView(
        label=label,
        probe=one.probe,
        spread=f"{say.amount(water.low, one.quantity)} to {say.amount(water.high, one.quantity)}",
        change=say.difference(water.change, one.quantity),
        outside=outside or "never for long",
        band=water.worst,
    )


def _alert(one: NightAlert, clock: Clock) -> NightAlertView:
    return NightAlertView(
        id=one.id,
        words=KIND_WORDS[one.kind],
        priority=PRIORITY_WORDS[one.priority],
        since=clock.moment(one.since_ms),
        ended=clock.maybe(one.ended_ms),
        person=one.person,
        late=one.found_late,
    )
