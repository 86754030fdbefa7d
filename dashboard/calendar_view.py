"""The molt calendar ready to show: bars over three weeks, counts a day, clusters in words.

Must not do: decide what a cluster is, or make a late molt an alarm.
"""

from __future__ import annotations

from dataclasses import dataclass

from api.services.molt_calendar import Cluster, DayCount, Due, MoltAhead, cluster_words
from dashboard.clock import WEEKDAYS, Clock
from dashboard.forecast import MoltForecast, day, molt_forecast, percent, span
from dashboard.tank_log import stage_words


@dataclass(frozen=True, slots=True)
class Bar:
    """A window on the three weeks, in percent of their length; ``open`` means that it goes on beyond them."""

    x: float
    width: float
    open: bool


@dataclass(frozen=True, slots=True)
class Row:
    """One animal. A bar is None where its window lies wholly beyond the three weeks, or is not known."""

    id: int
    name: str
    tank: str | None
    tank_name: str
    stage: str
    wide: Bar | None
    half: Bar | None
    molt: MoltForecast | None
    window: str
    chance: str


@dataclass(frozen=True, slots=True)
class DayColumn:
    """A day's expected molts. Heights are in percent of the tallest interval."""

    x: float
    width: float
    label: str
    weekend: bool
    low: float
    high: float
    expected: float
    words: str
    count: str
    mean: str
    chance: str
    date: str


def rows(ahead: MoltAhead, clock: Clock) -> list[Row]:
    """Every animal, the earliest windows first."""
    return [_row(one, ahead, clock) for one in ahead.due]


def _row(due: Due, ahead: MoltAhead, clock: Clock) -> Row:
    out, now = due.outlook, due.animal
    molt = molt_forecast(out, clock) if out is not None else None
    held = out is not None and out.held
    if out is None:
        window = "nothing is foretold yet"
    else:
        window = molt.short if held and molt is not None else span(out.window_80[0], out.window_80[1], clock)
    return Row(
        id=now.id, name=now.animal.name, tank=now.life.tank, tank_name=now.tank_name, stage=stage_words(now, clock),
        wide=None if out is None or held else _bar(out.window_80, ahead),
        half=None if out is None or held else _bar(out.window_50, ahead),
        molt=molt, window=window,
        chance="" if out is None or held else f"{percent(out.within_7d)} within 7 days",
    )  # fmt: skip


def _bar(window: tuple[int | None, int | None], ahead: MoltAhead) -> Bar | None:
    low_ms, high_ms = window
    start_ms, end_ms = ahead.edges_ms[0], ahead.edges_ms[-1]
    if low_ms is None or low_ms >= end_ms:
        return None
    left = max(low_ms, start_ms)
    right = end_ms if high_ms is None else min(max(high_ms, left), end_ms)
    whole = end_ms - start_ms
    x = 100.0 * (left - start_ms) / whole
    return Bar(round(x, 2), round(max(0.8, 100.0 * (right - left) / whole), 2), high_ms is None or high_ms > end_ms)


def columns(ahead: MoltAhead, clock: Clock) -> list[DayColumn]:
    """Each day's expected molts, with the interval that holds four fifths of the chance."""
    top = max((one.high for one in ahead.days), default=0) or 1
    whole = ahead.edges_ms[-1] - ahead.edges_ms[0]
    return [_column(one, ahead.edges_ms[0], whole, top, clock) for one in ahead.days]


def _column(one: DayCount, start_ms: int, whole_ms: int, top: int, clock: Clock) -> DayColumn:
    local = clock.local(one.start_ms)
    count = str(one.low) if one.low == one.high else f"{one.low} to {one.high}"
    named = f"{WEEKDAYS[local.weekday()][:3]} {day(one.start_ms, clock)}"
    return DayColumn(
        x=round(100.0 * (one.start_ms - start_ms) / whole_ms, 2),
        width=round(100.0 * (one.end_ms - one.start_ms) / whole_ms, 2),
        label=str(local.day),
        weekend=local.weekday() >= 5,
        low=100.0 * one.low / top,
        high=100.0 * one.high / top,
        expected=100.0 * min(one.expected, top) / top,
        words=f"{named}: {count} molts, {one.expected:.1f} expected",
        count=count,
        mean=f"{one.expected:.1f}",
        chance=percent(one.any_chance),
        date=named,
    )


def cluster_line(one: Cluster, clock: Clock) -> str:
    """ "4 to 6 of 12 between 3 and 7 Mar"."""

    def between(start_ms: int, end_ms: int) -> str:
        first, last = clock.local(start_ms), clock.local(end_ms)
        same = (first.month, first.year) == (last.month, last.year)
        return f"{first.day if same else day(start_ms, clock)} and {day(end_ms, clock)}"

    return cluster_words(one, between)


def ticks(ahead: MoltAhead, clock: Clock) -> list[tuple[float, str]]:
    """Mondays along the three weeks."""
    start_ms, whole = ahead.edges_ms[0], ahead.edges_ms[-1] - ahead.edges_ms[0]
    found = [edge for edge in ahead.edges_ms[1:-1] if clock.local(edge).weekday() == 0]
    return [(round(100.0 * (edge - start_ms) / whole, 2), day(edge, clock)) for edge in found]
