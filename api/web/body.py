"""How large a request's body may be, and reading a small one ahead of the route.

Must not do: hold more of a body than the limit, or look into it.
"""

from __future__ import annotations

from starlette.datastructures import Headers
from starlette.requests import ClientDisconnect
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.web.problems import problem

MOST_BODY_BYTES = 10_000_000
UPLOADS = frozenset({"/import", "/api/v1/imports"})
"""Files come here; how large they may be is looked at as they come (``upload.py``)."""


def is_upload(scope: Scope) -> bool:
    """Whether a request brings a file to a place that takes files."""
    kind = Headers(scope=scope).get("content-type", "").partition(";")[0].strip().lower()
    return scope["method"] == "POST" and scope["path"] in UPLOADS and kind == "multipart/form-data"


class BodyLimit:
    """Refuses bodies that are too large as soon as that is known, never holding more than the limit."""

    def __init__(self, app: ASGIApp, most_bytes: int = MOST_BODY_BYTES) -> None:
        self._app, self._most = app, most_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """ASGI."""
        if scope["type"] != "http" or is_upload(scope):
            await self._app(scope, receive, send)
            return
        declared = Headers(scope=scope).get("content-length", "")
        if declared.isdigit() and int(declared) > self._most:
            await self._refusal()(scope, receive, send)
            return
        await self._count(scope, receive, send)

    async def _count(self, scope: Scope, receive: Receive, send: Send) -> None:
        seen, started, refused = 0, False, False

        async def counted_receive() -> Message:
            nonlocal seen, refused
            if refused:
                return {"type": "http.disconnect"}
            message = await receive()
            seen += len(message.get("body", b""))
            if seen <= self._most:
                return message
            refused = True
            if not started:
                await self._refusal()(scope, receive, send)
            return {"type": "http.disconnect"}

        async def send_unless_refused(message: Message) -> None:
            nonlocal started
            if not refused:
                started = True
                await send(message)

        try:
            await self._app(scope, counted_receive, send_unless_refused)
        except ClientDisconnect:
            if not refused:
                raise

    def _refusal(self) -> Response:
        detail = (
            f"At most {self._most // 1_000_000} MB are taken at once. Send fewer readings in one pack: lower pack_size"
            " under [collector] in room.toml."
        )
        return problem(413, "This body is too large", detail, {"connection": "close"})


async def read_body(receive: Receive, most_bytes: int) -> bytes | None:
    """A whole body, or None when it is longer than ``most_bytes`` or the caller left."""
    body = b""
    while True:
        message = await receive()
        body += bytes(message.get("body", b""))
        if message["type"] == "http.disconnect" or len(body) > most_bytes:
            return None
        if not message.get("more_body", False):
            return body


def replay(body: bytes, receive: Receive) -> Receive:
    """A receive that gives a body already read once more, and then what comes after."""
    given = False

    async def again() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return again
