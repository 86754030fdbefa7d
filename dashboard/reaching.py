"""What the pages about reaching people ask of the service, as protocols. Must not do: hold any logic."""

from __future__ import annotations

from typing import Protocol, cast

from fastapi import Request

from api.services.answering import Answer, LinkNow
from api.services.links import Link
from api.services.people import PeopleNow


class Answering(Protocol):
    """Links in messages."""

    def link(self, token: str, now_ms: int) -> LinkNow | None:
        """What a link is worth now; None when it is not ours. Changes nothing."""

    def answer(self, link: Link, answer: Answer, person: str, until: str, now_ms: int) -> str | None:
        """Take an answer; a fresh link, None when this one was used or had expired. Raises InputError."""


class People(Protocol):
    """Those who are told."""

    def now(self, now_ms: int) -> PeopleNow:
        """Everybody."""

    def send_test(self, now_ms: int) -> list[str]:
        """Send everybody a test message."""


class Reaching(Protocol):
    """Both."""

    @property
    def answering(self) -> Answering:
        """Links in messages."""

    @property
    def people(self) -> People:
        """Those who are told."""


def reaching(request: Request) -> Reaching:
    """The service's part that reaches people."""
    return cast(Reaching, request.app.state.service.reaching)
