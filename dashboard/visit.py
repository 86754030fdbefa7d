"""One visit to a page: who asks, in which units, and the room at this moment.

Must not do: render, or change anything but a visitor's own cookies.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from threading import Lock
from typing import Any, TypeVar, cast
from urllib.parse import quote, unquote

from fastapi import Request
from starlette.responses import Response

from api.services.answers import RoomNow
from dashboard.clock import Clock
from dashboard.notices import notices_of
from dashboard.service import BrowserSession, Service
from dashboard.units import Units
from dashboard.views import head_view

FRESH_MS = 1900
Made = TypeVar("Made")
YEAR_S = 365 * 24 * 3600
NAME_COOKIE, TEMPERATURE_COOKIE, OXYGEN_COOKIE = "intermolt_name", "intermolt_temperature", "intermolt_oxygen"


class Glance:
    """The room's answer, shared by all who ask within two seconds."""

    def __init__(self, service: Service) -> None:
        self._service = service
        self._lock, self._making = Lock(), Lock()
        self._kept: RoomNow | None = None
        self._made: dict[object, Any] = {}

    def room(self) -> RoomNow:
        """The room, at most two seconds old."""
        with self._lock:
            now_ms = self._service.now_ms()
            if self._kept is None or not 0 <= now_ms - self._kept.time_ms < FRESH_MS:
                self._kept, self._made = self._service.read.room(now_ms), {}
            return self._kept

    def shared(self, room: RoomNow, key: object, make: Callable[[], Made]) -> Made:
        """What ``make`` makes of this room, made once for all who ask for the same ``key`` while the room is fresh."""
        # Those who come while it is being made wait for it; pages ask at the same moment more often than not.
        with self._making:
            with self._lock:
                if self._kept is room and key in self._made:
                    return cast(Made, self._made[key])
            fresh = make()
            with self._lock:
                if self._kept is room:
                    self._made[key] = fresh
            return fresh

    def forget(self) -> None:
        """Ask again next time: something was changed."""
        with self._lock:
            self._kept, self._made = None, {}


@dataclass(frozen=True, slots=True)
class Visit:
    """What every page needs."""

    request: Request
    service: Service
    units: Units
    session: BrowserSession
    room: RoomNow
    clock: Clock
    glance: Glance

    def context(self, here: str, live: str = "", path: str | None = None) -> dict[str, Any]:
        """What every template needs. ``live`` is the page's address for fresh parts, ``path`` where forms return to."""
        return {
            "head": head_view(self.room, self.clock),
            "notices": notices_of(self.room, self.clock),
            "units": self.units,
            "csrf": self.session.csrf,
            "keeper": self.session.name,
            "name": unquote(self.request.cookies.get(NAME_COOKIE, ""))[:80],
            "here": here,
            "live": live,
            "path": path or self.request.url.path,
        }


def visit(request: Request) -> Visit:
    """The visit a request makes."""
    state = request.app.state
    glance = cast(Glance, state.glance)
    room = glance.room()
    return Visit(
        request=request,
        service=cast(Service, state.service),
        units=Units.of(request.cookies.get(TEMPERATURE_COOKIE), request.cookies.get(OXYGEN_COOKIE)),
        session=cast(BrowserSession, request.state.session),
        room=room,
        clock=Clock(room.room.zone, room.time_ms),
        glance=glance,
    )


def remember(response: Response, request: Request, cookie: str, value: str) -> None:
    """Keep a choice in the visitor's own browser for a year."""
    secure = request.url.scheme == "https"
    response.set_cookie(cookie, quote(value), max_age=YEAR_S, httponly=True, samesite="lax", secure=secure)


def local_path(wanted: str) -> str:
    """The page to go on to, when it is one of ours; otherwise the room."""
    ours = wanted.startswith("/") and not wanted.startswith("//") and "\\" not in wanted and wanted.isprintable()
    return wanted if ours else "/"
