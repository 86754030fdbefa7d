"""Web safety for JSON routes and pages alike: hosts, body size, sessions, forged requests, security headers.

Must not do: know what a page shows or what a route does; it only looks at the request's outside.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Protocol, cast
from urllib.parse import parse_qs, quote, urlsplit

from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.web.body import BodyLimit, is_upload, read_body, replay
from api.web.hosts import HostCheck
from api.web.problems import problem
from api.web.session import COOKIE, LASTS_S, Door, Keys, Session, Sessions

MOST_FORM_BYTES = 64_000
LINK_PATH = "/a/"
"""Links in messages open this without signing in."""
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
JSON_TYPES = frozenset({"application/json", "application/senml+json"})
CONTENT_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self';"
    " manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
FIXED_HEADERS = {
    "content-security-policy": CONTENT_POLICY,
    "x-content-type-options": "nosniff",
    # "no-referrer" would make browsers send "Origin: null" with our own forms.
    "referrer-policy": "same-origin",
    "x-frame-options": "DENY",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
    "cache-control": "no-store",
}
RefusalPage = Callable[[Request, int, str, str], Response]


class Service(Protocol):
    """What is asked of the service."""

    @property
    def records(self) -> Keys:
        """Secrets, password and token."""

    @property
    def hosts(self) -> Sequence[str]:
        """Host names, besides loopback, this service may be called by."""

    def now_ms(self) -> int:
        """The clock."""


def install(app: FastAPI, service: Service) -> None:
    """Put all of web safety around an app; ``app.state.door`` signs keepers in, ``request.state.session`` is theirs."""
    sessions = Sessions(service.records, service.now_ms)
    app.state.door = Door(service.records, sessions, service.now_ms)
    # The last one added is the outermost.
    app.add_middleware(Gate, keys=service.records, sessions=sessions)
    app.add_middleware(BodyLimit)
    app.add_middleware(HostCheck, hosts=tuple(service.hosts))
    app.add_middleware(SecurityHeaders)


class SecurityHeaders:
    """Adds the security headers a response did not set itself."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """ASGI."""

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in FIXED_HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        await self._app(scope, receive, send_with_headers)


class Gate:
    """Sessions, sign-in, the collector's token, and proof that an unsafe request was meant."""

    def __init__(self, app: ASGIApp, keys: Keys, sessions: Sessions) -> None:
        self._app, self._keys, self._sessions = app, keys, sessions

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """ASGI."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        session = self._sessions.read(request.cookies.get(COOKIE))
        scope.setdefault("state", {})["session"] = session
        refusal: ASGIApp | None
        if is_json_path(request.url.path):
            refusal = self._json_refusal(request, session)
        else:
            refusal, receive = await self._page_refusal(request, session, receive)
        send = self._with_cookie(scope, send, session)
        await (refusal or self._app)(scope, receive, send)

    def _json_refusal(self, request: Request, session: Session) -> Response | None:
        path, unsafe = request.url.path, request.method not in SAFE_METHODS
        scheme, _, bearer = request.headers.get("authorization", "").partition(" ")
        token = scheme.lower() == "bearer" and self._keys.token_ok(bearer.strip())
        if is_collector_path(request.method, path):
            return None if token else _no_token()
        if (path == "/api/v1/health" and not unsafe) or (path == "/metrics" and token):
            return None
        locked = self._keys.password_set()
        if locked and not session.name:
            return problem(401, "Sign in first", "A password is set: sign in at /login, then ask again.")
        if not unsafe or (token and not locked):
            return None
        if not is_same_origin(request):
            return problem(403, "This request came from another site", "Open Intermolt's own page and do it there.")
        if request.method != "DELETE" and media_type(request) not in JSON_TYPES and not is_upload(request.scope):
            return problem(415, "This is not JSON", "Send it as content-type: application/json.")
        if locked and not self._sessions.csrf_ok(session, request.headers.get("x-csrf-token", "")):
            return problem(403, "The session's token is missing", "Send it in the header X-CSRF-Token.")
        return None

    async def _page_refusal(
        self, request: Request, session: Session, receive: Receive
    ) -> tuple[ASGIApp | None, Receive]:
        path = request.url.path
        by_link = path.startswith(LINK_PATH)
        free = by_link or path == "/login" or path.startswith("/static/")
        if self._keys.password_set() and not session.name and not free:
            return _to_login(request), receive
        if request.method in SAFE_METHODS:
            return None, receive
        if not is_same_origin(request):
            return await _refused(request, 403, "This came from another site", "Nothing was changed."), receive
        if is_upload(request.scope):
            return None, receive  # the route looks at the form's token before it takes a byte of the file
        if media_type(request) != "application/x-www-form-urlencoded":
            return await _refused(request, 415, "This is not a form", "Nothing was changed."), receive
        body = await read_body(receive, MOST_FORM_BYTES)
        if body is None:
            return await _refused(request, 413, "This form is too long", "Shorten the note and send it again."), receive
        token = parse_qs(body.decode("utf-8", "replace")).get("csrf", [""])[0]
        # A signed link itself proves that the request was meant; it must work where cookies do not.
        if not by_link and not self._sessions.csrf_ok(session, token):
            todo = "Nothing was changed. Go back, load the page again and send the form once more."
            return await _refused(request, 403, "This form is too old or not ours", todo), receive
        return None, replay(body, receive)

    def _with_cookie(self, scope: Scope, send: Send, session: Session) -> Send:
        path = scope["path"]
        wanted = not is_json_path(path) and not path.startswith("/static/")

        async def send_with_cookie(message: Message) -> None:
            if message["type"] == "http.response.start" and session.changed and wanted:
                secure = "; Secure" if scope["scheme"] == "https" else ""
                value = self._sessions.write(session)
                rest = f"Path=/; Max-Age={LASTS_S}; HttpOnly; SameSite=Lax{secure}"
                MutableHeaders(scope=message).append("set-cookie", f"{COOKIE}={value}; {rest}")
            await send(message)

        return send_with_cookie


def is_json_path(path: str) -> bool:
    """Whether a path belongs to the JSON routes; everything else is a page."""
    return path == "/metrics" or path == "/api" or path.startswith("/api/")


def is_collector_path(method: str, path: str) -> bool:
    """Whether only the collector's token opens this."""
    return (method == "POST" and path == "/api/v1/readings") or (
        method == "PUT" and path.startswith("/api/v1/collectors/")
    )


def is_same_origin(request: Request) -> bool:
    """Whether a browser, as far as it says, sent this from our own page."""
    if request.headers.get("sec-fetch-site", "none") not in ("same-origin", "none"):
        return False
    origin = request.headers.get("origin")
    return origin is None or urlsplit(origin).netloc.lower() == request.headers.get("host", "").lower()


def media_type(request: Request) -> str:
    """The content type without its parameters."""
    return request.headers.get("content-type", "").partition(";")[0].strip().lower()


def _no_token() -> Response:
    detail = "Send the collector's token as 'Authorization: Bearer ...'; it is kept in the service's data folder."
    return problem(401, "The collector's token is missing or wrong", detail, {"www-authenticate": "Bearer"})


def _to_login(request: Request) -> Response:
    if request.method == "GET" and "text/html" in request.headers.get("accept", ""):
        wanted = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        return RedirectResponse(f"/login?next={quote(wanted, safe='')}", 303)
    return problem(401, "Sign in first", "A password is set: sign in at /login, then ask again.")


async def _refused(request: Request, status: int, title: str, detail: str) -> Response:
    page: Any = getattr(request.app.state, "refusal_page", None) if "app" in request.scope else None
    if page is None:
        return problem(status, title, detail)
    return await run_in_threadpool(cast(RefusalPage, page), request, status, title, detail)
