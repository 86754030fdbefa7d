"""The People page: who is told when, how each channel did last, and a test message now.

Must not do: show an address; it may hold a password.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, cast

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from api.domain.alert import AlertState
from api.domain.people import WEEKDAYS, LadderSettings, time_words, weekday_words
from api.domain.words import KIND_WORDS
from api.services.people import ChannelNow, LadderNow, PersonNow
from api.services.rota_week import RotaDay
from dashboard import render
from dashboard.clock import MONTHS, Clock
from dashboard.reaching import reaching
from dashboard.visit import Glance, Visit, visit
from dashboard.words import STATE_WORDS, joined

router = APIRouter(include_in_schema=False)
LEAST_WORDS = {"urgent": "urgent only", "today": "urgent and today", "note": "everything"}


@dataclass(frozen=True, slots=True)
class ChannelView:
    """One channel; ``state`` is "target" (well), "danger" (its last test did not come) or "unknown"."""

    name: str
    kind: str
    state: str
    words: str


@dataclass(frozen=True, slots=True)
class PersonView:
    """One person in words."""

    name: str
    turn: str
    hours: str
    now: str
    wants: str
    channels: tuple[ChannelView, ...]


@router.get("/people")
def get_people(request: Request, sent: int = 0, changed: str = "") -> Response:
    """Everybody who is told."""
    here, edit = visit(request), reaching(request).edit
    now = reaching(request).people.now(here.clock.now_ms)
    context = here.context("people") | {
        "people": [_person(one, here.clock) for one in now.people],
        "room_channels": [_channel(one, here.clock) for one in now.room],
        "ladder": _ladder(now.ladder),
        "telling": [_telling(one, here, bool(now.room)) for one in now.ladders],
        "test_at": None if now.ladder.test_at is None else time_words(now.ladder.test_at),
        "address": now.address,
        "sent": max(0, sent),
        "changed": changed[:80],
        "rota": [_day(one) for one in reaching(request).rota.week(here.clock.now_ms)],
        "above": edit.changed(),
        "left_out": edit.left_out(),
        "warnings": [one.removeprefix("[[person]]: ") for one in edit.warnings()],
        "history": [(here.clock.moment(one.from_ms), one) for one in edit.history()],
    }
    return render.page("people.html", context)


@router.post("/people/test")
def post_test(request: Request) -> Response:
    """Send everybody a test message now."""
    here = visit(request)
    sent = reaching(request).people.send_test(here.service.now_ms())
    cast(Glance, request.app.state.glance).forget()
    return RedirectResponse(f"/people?sent={len(sent)}", 303)


def _person(now: PersonNow, clock: Clock) -> PersonView:
    one = now.person
    turns = {1: "told first", 2: "told second", 3: "told third"}
    turn = "not told of urgent alerts" if now.turn is None else turns.get(now.turn, f"told as number {now.turn}")
    hours = f"{weekday_words(one.weekdays)}, {time_words(one.from_min)} to {time_words(one.to_min)}"
    shut = f"outside their hours until {clock.moment(now.opens_ms).text}: only urgent alerts ring"
    return PersonView(
        name=one.name,
        turn=turn,
        hours="every day, round the clock" if one.from_min == one.to_min and len(one.weekdays) == 7 else hours,
        now="in their hours" if now.in_hours else shut,
        wants=LEAST_WORDS[one.priority],
        channels=tuple(_channel(channel, clock) for channel in now.channels),
    )


def _channel(now: ChannelNow, clock: Clock) -> ChannelView:
    test = now.test
    if test is None:
        return ChannelView(now.target, now.kind, "unknown", "no test message yet: not known whether it arrives")
    if test.delivered_ms is not None:
        when = clock.moment(test.delivered_ms)
        return ChannelView(now.target, now.kind, "target", f"last test delivered at {when.text} ({when.ago} ago)")
    sent = clock.moment(test.created_ms)
    if test.attempts == 0:
        return ChannelView(now.target, now.kind, "unknown", f"test sent at {sent.text}, on its way")
    words = f"test of {sent.text} not delivered: {test.last_error}"
    return ChannelView(now.target, now.kind, "danger", words)


def _day(one: RotaDay) -> tuple[str, list[tuple[str, str, str]]]:
    """A day of the rota: its stretches, who is called first, and who else is in their hours."""
    turns = []
    for turn in one.turns:
        others = [name for name in turn.there if name != turn.first]
        there = f"{joined(others)} too" if others and turn.first in turn.there else ""
        if not turn.there:
            there = "nobody in their hours: urgent only"
        turns.append((f"{time_words(turn.from_min)} to {time_words(turn.to_min)}", turn.first or "nobody", there))
    return f"{WEEKDAYS[one.day.weekday()]} {one.day.day} {MONTHS[one.day.month - 1]}", turns


def _telling(now: LadderNow, here: Visit, room: bool) -> tuple[int, str, str]:
    """One alert that is being told: its number, what it is, and who comes next or has it."""
    alert, clock = here.service.read.alert(now.alert), here.clock
    what = f"{alert.tank_name if alert.tank else 'whole room'}: {KIND_WORDS[alert.kind]}"
    if alert.state is AlertState.ACKNOWLEDGED:
        until = f", and is asked again at {clock.moment(now.until_ms).text}" if now.until_ms is not None else ""
        return alert.id, what, f"{alert.acknowledged_by} has it{until}"
    if alert.state is not AlertState.UNACKNOWLEDGED:
        return alert.id, what, STATE_WORDS[alert.state]
    if now.next_ms is None:
        return alert.id, what, "nobody has acknowledged it; all whom it concerns were told"
    if not now.names and not room:
        return alert.id, what, "nobody has acknowledged it, and nobody can be told: add a person"
    who = joined(list(now.names)) or "the room's own addresses"
    return alert.id, what, f"nobody has acknowledged it; next: {who}, at {clock.moment(now.next_ms).text}"


def _ladder(ladder: LadderSettings) -> dict[str, Any]:
    _, again, second, everyone = (f"{minutes:g}" for minutes in ladder.urgent_min)
    return {
        "again": again,
        "second": second,
        "everyone": everyone,
        "repeat": f"{ladder.repeat_min:g}",
        "holds": f"{ladder.acknowledged_min:g}",
        "today": joined([f"{minutes:g}" for minutes in ladder.today_min[1:]]),
        "hours": f"{ladder.link_hours:g}",
    }
