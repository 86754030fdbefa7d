"""Links in messages: who may answer which alerts, signed with this installation's own key, for a few hours.

Must not do: act on anything; a link that was opened has changed nothing (``answering.py`` acts).
"""

from __future__ import annotations

import ipaddress
import secrets
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from itsdangerous import BadData, URLSafeSerializer

from api.services.plan import RoomPlan

LONGEST_TOKEN = 4000
PATH = "/a/"


@dataclass(frozen=True, slots=True)
class Link:
    """What a link says. ``person`` empty: whoever opens it gives a name. ``expires_ms``: from then on it only shows."""

    id: str
    alerts: tuple[int, ...]
    person: str
    expires_ms: int


class Links:
    """Makes and reads links."""

    def __init__(self, secret: bytes, plan: Callable[[], RoomPlan]) -> None:
        self._signer, self._plan = URLSafeSerializer(secret, salt="intermolt answer"), plan

    def make(self, alerts: Sequence[int], person: str, now_ms: int) -> str:
        """A link's whole address; empty when the room has no address that a phone could reach."""
        address = address_of(self._plan())
        return f"{address}{PATH}{self.token(alerts, person, now_ms)}" if address and alerts else ""

    def for_anybody(self, alert: int, now_ms: int) -> str:
        """The address for a message that goes to nobody by name: who opens it says who they are."""
        return self.make([alert], "", now_ms)

    def token(self, alerts: Sequence[int], person: str, now_ms: int) -> str:
        """The signed part of a link, good for one answer."""
        expires_s = now_ms // 1000 + round(self._plan().ladder.link_hours * 3600)
        body = {"i": secrets.token_urlsafe(9), "a": list(alerts), "p": person, "t": expires_s}
        return str(self._signer.dumps(body))

    def read(self, token: str) -> Link | None:
        """What a link says; None when it is not ours, or not whole."""
        if len(token) > LONGEST_TOKEN:
            return None
        try:
            body = self._signer.loads(token)
        except BadData:
            return None
        return Link(body["i"], tuple(body["a"]), body["p"], body["t"] * 1000)


def address_of(plan: RoomPlan) -> str:
    """Where phones reach the pages: as set, else the address the service listens on if others can reach it."""
    settings = plan.settings
    if settings.address:
        return settings.address
    try:
        address = ipaddress.ip_address(settings.host)
    except ValueError:
        return "" if settings.host == "localhost" else f"http://{settings.host}:{settings.port}"
    if address.is_loopback or address.is_unspecified:
        return ""
    host = f"[{address}]" if address.version == 6 else str(address)
    return f"http://{host}:{settings.port}"
