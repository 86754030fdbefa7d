"""The page of how the alerts themselves do, each figure beside what the alarm standards ask for.

Must not do: count (``api/judge/performance.py``), or change anything.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, cast

from fastapi import APIRouter, Request
from starlette.responses import Response

from api.domain.alert import Priority
from api.domain.quantity import MEANING
from api.domain.words import KIND_WORDS, duration
from api.services.performance import ASKED_DAYS, Offender, Performance, PerformanceNow
from dashboard import render
from dashboard.clock import MONTHS
from dashboard.visit import Visit, visit
from dashboard.words import PRIORITY_WORDS

router = APIRouter(include_in_schema=False)
SPANS = (7, 30, 90, 365)
STANDARD = "ISA-18.2-2016, clause 16.4, from a public summary"
DAY_STANDARD = "IEC 62682:2014, about 144 a day; from a public summary"
SHARES = {Priority.URGENT: 0.05, Priority.TODAY: 0.15, Priority.NOTE: 0.80}
LEAST_SPLIT = 20
"""Fewer alerts than this have no shares worth a judgement."""


class Performances(Protocol):
    """How the alerts did."""

    def over(self, days: int, now_ms: int) -> PerformanceNow:
        """The last days."""


@dataclass(frozen=True, slots=True)
class FigureView:
    """One figure: ``state`` is "target" (met), "outside" (missed) or "unknown" (cannot be said yet)."""

    name: str
    value: str
    aim: str
    state: str
    word: str
    note: str
    source: str


@dataclass(frozen=True, slots=True)
class OffenderView:
    """One subject in words."""

    alert: int
    what: str
    count: int


@router.get("/performance")
def get_performance(request: Request, days: int = 30) -> Response:
    """The figures of the last days."""
    here = visit(request)
    chosen = days if days in SPANS else 30
    now = cast(Performances, request.app.state.service.performances).over(chosen, here.clock.now_ms)
    most = max([1, *now.figures.per_day])
    context = here.context("performance") | {
        "figures": figures_of(now),
        "chosen": chosen,
        "spans": SPANS,
        "total": now.figures.total,
        "since": here.clock.moment(now.start_ms),
        "short": now.figures.days < ASKED_DAYS - 0.5,
        "asked": ASKED_DAYS,
        "known": duration(now.figures.days * 86_400),
        "bars": [
            (f"{day.day} {MONTHS[day.month - 1]}", count, round(100 * count / most))
            for day, count in zip(now.days, now.figures.per_day, strict=True)
        ],
        "top": [_offender(one, here) for one in now.top],
        "chattering": [_offender(one, here) for one in now.chattering],
        "stale": [_offender(one, here) for one in now.stale],
    }
    return render.page("performance.html", context)


def figures_of(now: PerformanceNow) -> list[FigureView]:
    """Every figure in words."""
    one = now.figures
    split = [_split(priority, share, one.total) for priority, share in one.split]
    return [*_loads(one), *_nuisances(now), _top(now), *split, _answered(one.answered_s)]


def _loads(one: Performance) -> list[FigureView]:
    """How many, and how bunched."""
    whole, nights = one.days >= 1, one.urgent_nights
    mean_night = sum(nights) / len(nights) if nights else None
    return [
        _figure(
            "Alerts a day", f"{one.mean_per_day:.1f}" if whole else f"{one.total} so far", "144 at most",
            one.mean_per_day <= 144 if whole else None, DAY_STANDARD,
        ),
        _figure(
            "Urgent alerts a night", "not known" if mean_night is None else f"{mean_night:.1f}, most {max(nights)}",
            "2 at most in 12 hours", None if mean_night is None else max(nights) <= 2,
            "practice of on-call work, quoted from a handbook of operations",
            "Counted from 20:00 to 08:00, by alert; several are told as one message.",
        ),
        _figure("Most within ten minutes", str(one.most_in_slot), "10 at most", one.most_in_slot <= 10, STANDARD),
        _figure(
            "Ten-minute slots with more than ten", _percent(one.crowded), "below 1 %", one.crowded < 0.01, STANDARD
        ),
        _figure(
            "Time in a flood", _percent(one.flood), "below 1 %", one.flood < 0.01, STANDARD,
            "A flood begins with more than ten in ten minutes and ends with fewer than five.",
        ),
    ]  # fmt: skip


def _nuisances(now: PerformanceNow) -> list[FigureView]:
    """What chatters, is gone before anybody looks, or never ends."""
    one = now.figures
    return [
        _figure(
            "Chattering", str(len(one.chattering)), "none", not one.chattering, STANDARD,
            "Three times within half an hour: for slow probes, judgement. What comes again is kept, not told.",
        ),
        _figure("Fleeting: over within a minute", str(one.fleeting), "none", one.fleeting == 0, STANDARD),
        _figure(
            "Stale: standing for more than a day", f"{len(now.stale)} now, most on a day {one.stale_most}",
            "fewer than 5 on any day", one.stale_most < 5, STANDARD,
        ),
    ]  # fmt: skip


def _answered(seconds: float | None) -> FigureView:
    value = "none was" if seconds is None else f"{duration(seconds)}, median"
    met, source = None if seconds is None else seconds <= 300, "practice of night paging: from memory"
    return _figure("Urgent: acknowledged after", value, "before the ladder climbs, 5 min", met, source)


def _top(now: PerformanceNow) -> FigureView:
    share, even = now.figures.top_share, min(1.0, 10 / max(1, now.possible))
    note = f"This room can raise {now.possible} different alerts"
    met: bool | None = None if share is None else share <= 0.05
    if even > 0.05:
        note += f": ten of them are {100 * even:.0f} % even if all came alike, so the figure cannot be reached here"
        met = None
    value = "not known" if share is None else _percent(share)
    return _figure("The ten most frequent, of all", value, "1 to 5 %", met, STANDARD, f"{note}.")


def _split(priority: Priority, share: float | None, total: int) -> FigureView:
    aim, known = SHARES[priority], share is not None and total >= LEAST_SPLIT
    met = None if share is None or not known else share <= aim + 0.05 if priority is not Priority.NOTE else None
    note = "" if known else f"Of fewer than {LEAST_SPLIT} alerts a share says little."
    value = "not known" if share is None else _percent(share)
    return _figure(f"Share of {PRIORITY_WORDS[priority]}", value, f"about {100 * aim:.0f} %", met, STANDARD, note)


def _figure(name: str, value: str, aim: str, met: bool | None, source: str, note: str = "") -> FigureView:
    state, word = {True: ("target", "met"), False: ("outside", "missed"), None: ("unknown", "not judged")}[met]
    return FigureView(name, value, aim, state, word, note, source)


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %".replace(".0 %", " %")


def _offender(one: Offender, here: Visit) -> OffenderView:
    names = {now.tank.id: now.tank.name for now in here.room.tanks}
    place = names.get(one.tank, one.tank) if one.tank is not None else "whole room"
    label = f" ({MEANING[one.quantity].label})" if one.quantity is not None else ""
    probe = f", {one.probe}" if one.probe else ""
    return OffenderView(one.alert, f"{place}: {KIND_WORDS[one.kind]}{label}{probe}", one.count)
