"""What the pages about reaching people ask of the service, as protocols. Must not do: hold any logic."""

from __future__ import annotations

from concurrent.futures import Future
from typing import Protocol, cast

from fastapi import Request

from api.services.answering import Answer, LinkNow
from api.services.links import Link
from api.services.people import PeopleNow
from api.services.people_edit import PeopleChanged, PersonToChange, WishedPerson
from api.services.rota_week import RotaDay


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


class PeopleEdit(Protocol):
    """Changes who is told."""

    def person(self, name: str) -> PersonToChange:
        """One person. Raises NotFound."""

    def left_out(self) -> tuple[str, ...]:
        """People of the room file whom a page has left out."""

    def changed(self) -> frozenset[str]:
        """Of whom a page's word stands above the room file."""

    def warnings(self) -> tuple[str, ...]:
        """What a keeper should know before the next night."""

    def history(self) -> tuple[PeopleChanged, ...]:
        """Every change, newest first."""

    def save(self, wish: WishedPerson, by: str, *, new: bool = False, confirm: bool = False) -> Future[None]:
        """Set a person as wished. Raises InputError, DoubtfulPeople, NotFound."""

    def leave_out(self, name: str, by: str, *, confirm: bool = False) -> Future[None]:
        """Tell a person nothing any more. Raises InputError, DoubtfulPeople, NotFound."""

    def as_file(self, name: str, by: str, *, confirm: bool = False) -> Future[None]:
        """Withdraw what was changed of a person. Raises InputError, DoubtfulPeople, NotFound."""


class Rota(Protocol):
    """Whose turn it is."""

    def week(self, now_ms: int) -> tuple[RotaDay, ...]:
        """Seven days from today on."""


class Reaching(Protocol):
    """All of it."""

    @property
    def rota(self) -> Rota:
        """Whose turn it is."""

    @property
    def edit(self) -> PeopleEdit:
        """Changes who is told."""

    @property
    def answering(self) -> Answering:
        """Links in messages."""

    @property
    def people(self) -> People:
        """Those who are told."""


def reaching(request: Request) -> Reaching:
    """The service's part that reaches people."""
    return cast(Reaching, request.app.state.service.reaching)
