"""Which host names this service goes by.

Must not do: look at anything of a request but its Host header.
"""

from __future__ import annotations

from collections.abc import Sequence
from ipaddress import ip_address
from urllib.parse import urlsplit

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from api.web.problems import problem


class HostCheck:
    """Refuses requests for names that are not ours, so that a foreign page cannot point its own name at us."""

    def __init__(self, app: ASGIApp, hosts: Sequence[str]) -> None:
        self._app = app
        self._hosts = frozenset(host.lower().rstrip(".") for host in hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """ASGI."""
        if scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
            return
        if scope["type"] == "http" and not self._ours(Headers(scope=scope).getlist("host")):
            detail = 'Call it by localhost, or add the name you used to hosts = ["..."] under [service] in room.toml.'
            await problem(400, "This service does not go by that host name", detail)(scope, receive, send)
            return
        await self._app(scope, receive, send)

    def _ours(self, given: list[str]) -> bool:
        if len(given) != 1:
            return False
        name = host_name(given[0])
        return name is not None and (name in self._hosts or is_loopback(name))


def host_name(header: str) -> str | None:
    """The name in a Host header without its port, or None when it is not a host at all."""
    try:
        parts = urlsplit("//" + header)
        _ = parts.port
    except ValueError:
        return None
    if parts.path or parts.query or parts.fragment or "@" in header or not parts.hostname:
        return None
    return parts.hostname.rstrip(".")


def is_loopback(name: str) -> bool:
    """Whether a host name or address can only mean this computer."""
    if name == "localhost" or name.endswith(".localhost"):
        return True
    try:
        return ip_address(name).is_loopback
    except ValueError:
        return False
