"""Which charts a tank page shows, over which time, and the figure of each.

Must not do: read the service's clock or render.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from urllib.parse import quote, urlencode

from api.domain.care import CareRange
from api.domain.errors import InputError
from api.domain.quantity import MEANING, Quantity
from api.services.answers import AlertNow, Series, TankNow
from dashboard.clock import Clock
from dashboard.figures import Spec, figure
from dashboard.theme import DARK, LIGHT
from dashboard.units import MG_L, Lens, Units, lens
from dashboard.wall_clock import WallClock

DAY_MS = 86_400_000
SPANS = {"day": ("24 h", DAY_MS), "week": ("7 days", 7 * DAY_MS), "month": ("30 days", 30 * DAY_MS)}
OWN = "own"
LONGEST_MS = 10 * 366 * DAY_MS
POINTS = 1000


@dataclass(frozen=True, slots=True)
class Span:
    """The time shown. ``wrong`` says why a time asked for could not be used."""

    key: str
    start_ms: int
    end_ms: int
    start_field: str
    end_field: str
    offset: str
    clock_changed: bool
    wrong: str


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart's title and addresses."""

    title: str
    address: str
    data: str


def span_of(key: str, start: str, end: str, clock: Clock) -> Span:
    """The time a page was asked to show; the last day when it cannot be used, saying why."""
    wrong = ""
    start_ms, end_ms = clock.now_ms - SPANS.get(key, SPANS["day"])[1], clock.now_ms
    if key == OWN:
        try:
            start_ms, end_ms = _own(start, end, clock)
        except InputError as error:
            wrong = str(error)
    elif key not in SPANS:
        key = "day"
    wall = WallClock(clock, start_ms, end_ms)
    return Span(
        key, start_ms, end_ms, clock.field(start_ms), clock.field(end_ms), wall.offset, wall.clock_changed, wrong
    )


def _own(start: str, end: str, clock: Clock) -> tuple[int, int]:
    start_ms, end_ms = clock.parse(start), clock.parse(end)
    if start_ms >= end_ms:
        raise InputError("The first time must lie before the second.")
    if end_ms - start_ms > LONGEST_MS:
        raise InputError("That is longer than ten years; choose a shorter time.")
    return start_ms, end_ms


def charted(seen: Sequence[Quantity], units: Units) -> list[Quantity]:
    """The quantities to chart: of oxygen's two amounts only the one the keeper chose, when both are there."""
    both = {Quantity.OXYGEN, Quantity.OXYGEN_SATURATION} <= set(seen)
    unwanted = Quantity.OXYGEN_SATURATION if units.oxygen == MG_L else Quantity.OXYGEN
    return [quantity for quantity in seen if not (both and quantity is unwanted)]


def native_lens(quantity: Quantity, units: Units) -> Lens:
    """A chart's lens: oxygen stays in the unit of its own quantity, since full saturation changes along the line."""
    return lens(quantity, Units(units.temperature, MG_L), None)


def chart_list(tank_id: str, seen: Sequence[Quantity], units: Units, span: Span, clock: Clock) -> list[Chart]:
    """All charts of a tank page."""
    charts = []
    for quantity in charted(seen, units):
        asked = {"quantity": str(quantity), "span": span.key}
        if span.key == OWN and not span.wrong:
            asked |= {"start": span.start_field, "end": span.end_field}
        place = quote(tank_id, safe="")
        window = {"quantity": str(quantity), "start": clock.iso(span.start_ms), "end": clock.iso(span.end_ms)}
        charts.append(
            Chart(
                title=f"{MEANING[quantity].label}, {native_lens(quantity, units).unit}".rstrip(", "),
                address=f"/tank/{place}/figure?{urlencode(asked)}",
                data=f"/api/v1/tanks/{place}/series?{urlencode(window)}",
            )
        )
    return charts


def chart_figure(
    series: Series, now: TankNow, alerts: Sequence[AlertNow], units: Units, clock: Clock, look: str
) -> Spec:
    """The figure of one chart."""
    quantity = series.quantity
    if quantity is Quantity.OXYGEN_SATURATION and series.care is None:
        series = replace(series, care=percent_care(now))
    wall = WallClock(clock, series.start_ms, series.end_ms)
    own = [a for a in alerts if a.tank == now.tank.id and a.quantity in (quantity, None)]
    if quantity is Quantity.OXYGEN_SATURATION:
        own += [a for a in alerts if a.tank == now.tank.id and a.quantity is Quantity.OXYGEN]
    theme = DARK if look == "dark" else LIGHT
    return figure(series, own, native_lens(quantity, units), wall, theme, MEANING[quantity].label)


def percent_care(now: TankNow) -> CareRange | None:
    """The oxygen limits in percent at the tank's present temperature; None when that is not known."""
    care = next((item.care for item in now.latest if item.quantity is Quantity.OXYGEN and item.care), None)
    most = now.most_oxygen_mg_l
    if care is None or not most:
        return None
    share = 100.0 / most

    def percent(limit: float | None) -> float | None:
        return None if limit is None else limit * share

    return CareRange(
        Quantity.OXYGEN_SATURATION,
        target_low=percent(care.target_low),
        target_high=percent(care.target_high),
        tolerable_low=percent(care.tolerable_low),
        tolerable_high=percent(care.tolerable_high),
        danger_low=percent(care.danger_low),
        danger_high=percent(care.danger_high),
        source=care.source,
    )
