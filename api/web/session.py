"""Who is asking: a signed cookie that lasts thirty days, and the door that opens for a name and a password.

Must not do: keep passwords, or decide which path needs a session (``safety.py``).
"""

from __future__ import annotations

import hmac
import secrets
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from ipaddress import ip_address, ip_network
from threading import Lock
from typing import Protocol

from itsdangerous import BadSignature, URLSafeSerializer

COOKIE = "intermolt_session"
LASTS_S = 30 * 24 * 3600
MOST_ADDRESSES = 1000
FREE_TRIES = 3
LONGEST_WAIT_S = 300.0
CHECK_TURN_S = 2.0


class Keys(Protocol):
    """What is asked of the records: secrets, the password and the collector's token."""

    def secret(self, name: str) -> bytes:
        """A random key of this installation."""

    def password_set(self) -> bool:
        """Whether a keeper's password is set; asked at every request."""

    def password_mark(self) -> str:
        """A text that changes whenever a password is changed; asked at every request."""

    def check_password(self, name: str, password: str) -> bool:
        """Whether the password is that keeper's."""

    def token_ok(self, bearer: str) -> bool:
        """Whether this is the collector's token."""


@dataclass(slots=True)
class Session:
    """One browser's session. ``name`` is empty until a keeper signed in; ``changed`` means the cookie must be sent."""

    id: str
    name: str
    csrf: str
    changed: bool


class Sessions:
    """Reads and writes the session cookie."""

    def __init__(self, keys: Keys, now_ms: Callable[[], int]) -> None:
        self._keys, self._now_ms = keys, now_ms
        self._signer = URLSafeSerializer(keys.secret("session"), salt="intermolt session")
        self._csrf_key = keys.secret("csrf")

    def read(self, cookie: str | None) -> Session:
        """The session of a cookie, or a new one when there is none that still holds."""
        body = self._body(cookie)
        if body is None:
            return self._new("")
        return Session(body["i"], body["n"], self._csrf(body["i"]), changed=False)

    def write(self, session: Session) -> str:
        """The cookie's value for a session."""
        mark = self._keys.password_mark() if session.name else ""
        made_s = self._now_ms() // 1000
        return str(self._signer.dumps({"i": session.id, "n": session.name, "m": mark, "t": made_s}))

    def enter(self, session: Session, name: str) -> None:
        """Turn a session into a signed-in one under a fresh id, so that an id planted before is worth nothing."""
        fresh = self._new(name)
        session.id, session.name, session.csrf, session.changed = fresh.id, fresh.name, fresh.csrf, True

    def leave(self, session: Session) -> None:
        """Sign out."""
        self.enter(session, "")

    def csrf_ok(self, session: Session, token: str) -> bool:
        """Whether a form's or header's token belongs to this session."""
        return hmac.compare_digest(session.csrf.encode(), token.encode())

    def _new(self, name: str) -> Session:
        made = secrets.token_urlsafe(18)
        return Session(made, name, self._csrf(made), changed=True)

    def _csrf(self, session_id: str) -> str:
        return hmac.new(self._csrf_key, session_id.encode(), "sha256").hexdigest()

    def _body(self, cookie: str | None) -> dict[str, str] | None:
        if not cookie or len(cookie) > 2000:
            return None
        try:
            body = self._signer.loads(cookie)
        except BadSignature:
            return None
        if self._now_ms() / 1000 - body["t"] > LASTS_S:
            return None
        if body["n"] and body["m"] != self._keys.password_mark():
            return None
        return dict(body)


@dataclass(frozen=True, slots=True)
class Entry:
    """What came of one try at the door; ``wait_s`` says how long the next try has to wait."""

    ok: bool
    wait_s: int = 0


class Door:
    """Checks a name and a password, more slowly after each failure from the same address."""

    def __init__(self, keys: Keys, sessions: Sessions, now_ms: Callable[[], int]) -> None:
        self._keys, self._sessions, self._now_ms = keys, sessions, now_ms
        self._failures: OrderedDict[str, tuple[int, float]] = OrderedDict()
        self._lock = Lock()
        self._turn = Lock()

    def enter(self, session: Session, address: str, name: str, password: str) -> Entry:
        """Sign the session in when the password is right; blocks for as long as checking a password takes."""
        source = source_of(address)
        wait_s = self._wait_s(source)
        if wait_s > 0:
            return Entry(False, int(wait_s) + 1)
        # Checking is slow on purpose, so one at a time: many tries at once must not take the computer away.
        if not self._turn.acquire(timeout=CHECK_TURN_S):
            return Entry(False, 5)
        try:
            right = len(password) <= 1000 and self._keys.check_password(name, password)
        finally:
            self._turn.release()
        if not right:
            return Entry(False, int(self._failed(source)))
        with self._lock:
            self._failures.pop(source, None)
        self._sessions.enter(session, name)
        return Entry(True)

    def leave(self, session: Session) -> None:
        """Sign the session out."""
        self._sessions.leave(session)

    def _wait_s(self, source: str) -> float:
        with self._lock:
            _, until_s = self._failures.get(source, (0, 0.0))
        return min(until_s - self._now_ms() / 1000, LONGEST_WAIT_S)

    def _failed(self, source: str) -> float:
        with self._lock:
            count = self._failures.pop(source, (0, 0.0))[0] + 1
            wait_s = 0.0 if count < FREE_TRIES else min(2.0 ** min(count - FREE_TRIES + 1, 10), LONGEST_WAIT_S)
            self._failures[source] = (count, self._now_ms() / 1000 + wait_s)
            while len(self._failures) > MOST_ADDRESSES:
                self._failures.popitem(last=False)
        return wait_s


def source_of(address: str) -> str:
    """The address tries are counted by: an IPv6 caller owns a whole /64, so that is taken as one."""
    try:
        parsed = ip_address(address)
    except ValueError:
        return address
    return str(ip_network((parsed, 64), strict=False)) if parsed.version == 6 else str(parsed)
