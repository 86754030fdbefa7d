"""How alerts at rest are said on the pages of a tank, of an alert, and of all alerts.

Must not do: begin or end a rest (``rest_pages.py``).
"""

from __future__ import annotations

from concurrent.futures import Future
from dataclasses import dataclass
from typing import Any, Protocol, cast

from fastapi import Request

from api.domain.alert import AlertKind, AlertState, Priority
from api.domain.rest import Rest, Scope
from api.domain.words import KIND_WORDS, duration
from api.services.answers import AlertNow
from dashboard.clock import Clock, Moment
from dashboard.visit import Visit
from dashboard.words import STATE_WORDS

DAY_MS = 86_400_000
MOST_OVER = 20
SAID_MS = 3_600_000
"""How long a tank's page says how the last work there ended. [ms]"""
LENGTHS_MIN = {
    Priority.URGENT: (15, 30, 60),
    Priority.TODAY: (60, 240, 720, 1440),
    Priority.NOTE: (1440, 4320, 10080),
}
BACK = {
    AlertState.SHELVED: "End the shelf",
    AlertState.SUPPRESSED_BY_DESIGN: "Work is over",
    AlertState.OUT_OF_SERVICE: "Back in service",
}


class Resting(Protocol):
    """Begins and ends rests."""

    @property
    def rules(self) -> tuple[str, ...]:
        """What keepers are told about rests."""

    def rests(self, *, running: bool = True) -> list[Rest]:
        """Newest first."""

    def shelve(self, alert: int, minutes: float, person: str, reason: str) -> Future[int]:
        """Shelve one alert. Raises NotFound, InputError."""

    def work(self, tank: str, person: str) -> Future[int]:
        """Somebody works on a tank. Raises NotFound, InputError."""

    def out_of_service(self, scope: Scope, key: str, person: str, reason: str) -> Future[int]:
        """Take a tank or a probe out of service. Raises NotFound, InputError."""

    def end(self, rest: int, person: str) -> Future[str]:
        """Bring back what rests; the outcome. Raises NotFound, InputError."""


@dataclass(frozen=True, slots=True)
class RestView:
    """A rest in words."""

    id: int
    what: str
    state: str
    person: str
    reason: str
    since: Moment
    until: Moment | None
    stale: bool
    back: str
    ended: Moment | None
    ended_by: str
    outcome: str


def resting(request: Request) -> Resting:
    """The service's part for alerts at rest."""
    return cast(Resting, request.app.state.service.resting)


def rest_view(one: Rest, names: dict[str, str], clock: Clock) -> RestView:
    """One rest."""
    if one.scope is Scope.ALERT:
        tank, kind, *_ = one.key.split("/")
        what = f"{names.get(tank, tank) or 'whole room'}, {KIND_WORDS[AlertKind(kind)]}"
    else:
        what = names.get(one.key, one.key) if one.scope is Scope.TANK else f"probe {one.key}"
    return RestView(
        id=one.id,
        what=what,
        state=STATE_WORDS[one.state],
        person=one.person,
        reason=one.reason,
        since=clock.moment(one.from_ms),
        until=clock.maybe(one.until_ms),
        stale=clock.now_ms - one.from_ms > DAY_MS,
        back=BACK[one.state],
        ended=clock.maybe(one.ended_ms),
        ended_by=one.ended_by,
        outcome=one.outcome,
    )


def names_of(here: Visit) -> dict[str, str]:
    """Names of tanks by id."""
    return {now.tank.id: now.tank.name for now in here.room.tanks}


def list_context(here: Visit) -> dict[str, Any]:
    """What the alerts page says of rests."""
    part, names = resting(here.request), names_of(here)
    views = [rest_view(one, names, here.clock) for one in part.rests(running=False)]
    return {
        "rests": [one for one in views if one.ended is None],
        "rests_over": [one for one in views if one.ended is not None][:MOST_OVER],
        "rest_rules": part.rules,
    }


def tank_context(here: Visit, tank: str, probes: list[str]) -> dict[str, Any]:
    """What a tank's page says of rests: those that run, and how the work ended that was over a moment ago."""
    names, clock = names_of(here), here.clock
    mine = [one for one in resting(here.request).rests(running=False) if _in_tank(one, tank, probes)]
    work = [one for one in mine if one.state is AlertState.SUPPRESSED_BY_DESIGN and one.scope is Scope.TANK]
    said = ""
    if work and work[0].ended_ms is not None and clock.now_ms - work[0].ended_ms < SAID_MS:
        said = f"The work of {work[0].person} was over at {clock.moment(work[0].ended_ms).text}: {work[0].outcome}."
    return {
        "rests": [rest_view(one, names, clock) for one in mine if one.ended_ms is None],
        "working": bool(work) and work[0].ended_ms is None,
        "tank_probes": probes,
        "rest_said": said,
    }


def _in_tank(one: Rest, tank: str, probes: list[str]) -> bool:
    if one.scope is Scope.ALERT:
        return one.key.split("/")[0] == tank
    return one.key == tank if one.scope is Scope.TANK else one.key in probes


def alert_context(alert: AlertNow, error: str = "") -> dict[str, Any]:
    """What one alert's page says of shelving: the lengths it may have; none while it rests or is over."""
    standing = alert.state in (
        AlertState.UNACKNOWLEDGED,
        AlertState.ACKNOWLEDGED,
        AlertState.RETURNED_UNACKNOWLEDGED,
    )
    lengths = [(minutes, duration(minutes * 60.0)) for minutes in LENGTHS_MIN[alert.priority]]
    return {"shelve": lengths if standing else [], "shelve_error": error}
