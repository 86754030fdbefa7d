"""The page behind a message's link: one thumb, half asleep, no signing in. Opening it changes nothing; its buttons do.

Must not do: decide what an answer leads to (``api/services/answering.py``).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any, cast
from urllib.parse import unquote

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from api.domain.alert import AlertState
from api.domain.errors import InputError, NotFound
from api.services.answering import Answer, LinkNow
from api.services.answers import AlertNow
from dashboard import render
from dashboard.alerts import AlertView, alert_view, most_oxygen
from dashboard.clock import Clock
from dashboard.reaching import reaching
from dashboard.units import lens
from dashboard.visit import NAME_COOKIE, Glance, Visit, remember, visit
from dashboard.words import STATE_WORDS

router = APIRouter(include_in_schema=False)
STANDING = (AlertState.UNACKNOWLEDGED, AlertState.ACKNOWLEDGED)
OVER = (AlertState.NORMAL, AlertState.RETURNED_UNACKNOWLEDGED)
NOT_OURS = "This link is not whole, or not of this room. Open the message once more, or look at the room."


@router.get("/a/{token}")
def get_link(request: Request, token: str) -> Response:
    """What the link is about, and what can be answered."""
    here = visit(request)
    now = reaching(request).answering.link(token, here.clock.now_ms)
    return _page(here, token, now)


@router.post("/a/{token}")
def post_link(
    request: Request,
    token: str,
    answer: Annotated[str, Form()] = "",
    person: Annotated[str, Form()] = "",
    until: Annotated[str, Form()] = "",
) -> Response:
    """Take the answer."""
    here = visit(request)
    answering = reaching(request).answering
    now_ms = here.service.now_ms()
    now = answering.link(token, now_ms)
    if now is None:
        return _page(here, token, None)
    if answer not in list(Answer):
        return _page(here, token, now, "Choose one of the three answers.")
    try:
        fresh = answering.answer(now.link, Answer(answer), person, until, now_ms)
    except InputError as error:
        return _page(here, token, now, str(error))
    if fresh is None:
        return _page(here, token, answering.link(token, now_ms))
    cast(Glance, request.app.state.glance).forget()
    made = RedirectResponse(f"/a/{fresh}", 303)
    if not now.link.person:
        remember(made, request, NAME_COOKIE, " ".join(person.split())[:80])
    return made


def _page(here: Visit, token: str, now: LinkNow | None, wrong: str = "") -> Response:
    simulated = here.room.simulated
    if now is None:
        context = {"simulated": simulated, "status": 404, "title": "This link does not work", "detail": NOT_OURS}
        return render.page("error.html", context, 404)
    alerts = [one for one in (_alert(here, number) for number in now.link.alerts) if one is not None]
    most = most_oxygen(here.room)
    views = [_with_now(alert_view(one, here.units, here.clock, most), one, here) for one in alerts]
    context = {
        "simulated": simulated,
        "token": token,
        "alerts": views,
        "title": f"{views[0].place}: {views[0].kind}" if views else "This alert is not there any more",
        "more": len(views) - 1,
        "person": now.link.person,
        "name": unquote(here.request.cookies.get(NAME_COOKIE, ""))[:80],
        "leave_until": now.leave_until,
        "wrong": wrong,
        "time": here.clock.moment(here.clock.now_ms),
        **_state(now, alerts, here.clock),
    }
    status = 422 if wrong else 200 if now.open else 410
    return render.page("link.html", context, status)


def _with_now(view: AlertView, alert: AlertNow, here: Visit) -> AlertView:
    """The newest reading before all other facts: the alert itself remembers how it was when it rang."""
    if alert.quantity is None or view.ended is not None:
        return view
    readings = (one for tank in here.room.tanks if tank.tank.id == alert.tank for one in tank.latest)
    newest = next((r for r in readings if (r.probe, r.quantity) == (alert.probe, alert.quantity)), None)
    known = newest is not None and newest.value is not None and not newest.quiet
    seen = lens(alert.quantity, here.units, most_oxygen(here.room).get(alert.tank or ""))
    now = seen.text(newest.value) if known and newest is not None and newest.value is not None else "not known"
    return replace(view, facts=(("now", now), *view.facts))


def _state(now: LinkNow, alerts: list[AlertNow], clock: Clock) -> dict[str, Any]:
    """What is said above the buttons, and which buttons there are: all, "change", "join" or none."""
    standing = [one for one in alerts if one.state in STANDING]
    taken = [one for one in standing if one.state is AlertState.ACKNOWLEDGED]
    said = ""
    if now.use is not None:
        said = (
            f"This link was used: {now.use.person} answered “{now.use.answer}” at {clock.moment(now.use.time_ms).text}."
        )
    elif now.expired:
        said = (
            f"This link has expired, at {clock.moment(now.link.expires_ms).text}. Sign in on the room page to answer."
        )
    elif not alerts:
        said = "Look at the room page for what stands now."
    elif not standing:
        resting = [STATE_WORDS[one.state] for one in alerts if one.state not in OVER]
        said = f"Nobody is asked to go now: it is {resting[0]}." if resting else "It is over. Nobody needs to go."
    elif len(taken) == len(standing):
        who = taken[0].acknowledged_by or ""
        at = f" at {clock.moment(taken[0].acknowledged_ms).text}" if taken[0].acknowledged_ms is not None else ""
        said = f"{'You' if who == now.link.person else who} answered{at}: {taken[0].note or 'acknowledged'}."
        return {"said": said, "buttons": "change" if who == now.link.person else "join"}
    return {"said": said, "buttons": "all" if now.open and standing else ""}


def _alert(here: Visit, number: int) -> AlertNow | None:
    try:
        return here.service.read.alert(number)
    except NotFound:
        return None
