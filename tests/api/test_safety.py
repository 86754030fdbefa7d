"""Web safety on a bare app: hosts, sizes, tokens, forged requests, headers."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator
from typing import Any

import pytest
from fastapi import FastAPI, Request

from api.web import safety
from api.web.session import MOST_ADDRESSES, Door, Session, Sessions, source_of
from tests.dashboard.caller import Caller

TOKEN = {"authorization": "Bearer right"}
JSON = {"content-type": "application/json"}


class Keys:
    """Keys held in memory."""

    password = ""

    def secret(self, name: str) -> bytes:
        """Fixed."""
        return f"test {name}".encode()

    def password_set(self) -> bool:
        """Whether one is set."""
        return bool(self.password)

    def password_mark(self) -> str:
        """Follows the password."""
        return f"mark of {self.password}"

    def check_password(self, name: str, password: str) -> bool:
        """Plain comparison."""
        return bool(self.password) and password == self.password

    def token_ok(self, bearer: str) -> bool:
        """One token."""
        return bearer == "right"


class Service:
    """As little of a service as safety asks for."""

    def __init__(self) -> None:
        self.records = Keys()
        self.hosts = ("tanks.lan", "0.0.0.0")  # noqa: S104 - a name to compare with
        self.time_ms = 1_700_000_000_000
        self.read_bytes = 0

    def now_ms(self) -> int:
        """The clock."""
        return self.time_ms


@pytest.fixture
def service() -> Service:
    """Keys and a clock."""
    return Service()


@pytest.fixture
def client(service: Service) -> Iterator[Caller]:
    """A caller on this computer."""
    app = FastAPI(openapi_url=None)

    async def take(request: Request) -> dict[str, Any]:
        async for chunk in request.stream():
            service.read_bytes += len(chunk)
        return {"read": service.read_bytes}

    def csrf(request: Request) -> dict[str, str]:
        return {"csrf": request.state.session.csrf}

    for path in ("/api/v1/readings", "/api/v1/tanks", "/api/v1/alerts/1/acknowledge", "/form"):
        app.add_api_route(path, take, methods=["POST"])
    app.add_api_route("/api/v1/collectors/one", take, methods=["PUT"])
    for path in ("/api/v1/health", "/api/v1/tanks", "/metrics", "/page", "/login"):
        app.add_api_route(path, csrf, methods=["GET"])
    safety.install(app, service)
    with Caller(app) as made:
        yield made


@pytest.mark.parametrize(
    "host", ["localhost", "LOCALHOST:8080", "127.0.0.1", "127.8.8.8:80", "[::1]:8080", "a.localhost", "tanks.lan."]
)
def test_our_own_host_names_are_answered(client: Caller, host: str) -> None:
    """Loopback and configured names."""
    assert client.get("/api/v1/health", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    ["elsewhere.example", "localhost.elsewhere.example", "8.8.8.8", "", "localhost/x", "x@localhost", "[::1", "a:b"],
)
def test_foreign_host_names_are_refused(client: Caller, host: str) -> None:
    """A page that points its own name at us gets nothing."""
    answer = client.get("/api/v1/health", headers={"host": host})
    assert answer.status_code == 400
    assert answer.headers["content-type"] == "application/problem+json"
    assert "room.toml" in answer.json()["detail"]


def test_a_declared_large_body_is_refused_unread(client: Caller, service: Service) -> None:
    """By its Content-Length, with what to do."""
    answer = client.post("/api/v1/readings", content=b"x" * 10_000_001, headers=TOKEN)
    assert answer.status_code == 413
    assert "pack_size" in answer.json()["detail"]
    assert service.read_bytes == 0


def test_a_chunked_large_body_is_cut_off_at_the_limit(client: Caller, service: Service) -> None:
    """Without a length it is counted, and the route never sees more than the limit."""

    async def chunks() -> AsyncIterator[bytes]:
        for _ in range(14):
            yield b"x" * 1_000_000

    answer = client.post("/api/v1/readings", content=chunks(), headers=TOKEN)
    assert answer.status_code == 413
    assert service.read_bytes <= 10_000_000


def test_a_body_at_the_limit_passes(client: Caller, service: Service) -> None:
    """Exactly ten megabytes."""
    assert client.post("/api/v1/readings", content=b"x" * 10_000_000, headers=TOKEN).json() == {"read": 10_000_000}


@pytest.mark.parametrize("password", ["", "set"])
def test_readings_always_need_the_collectors_token(client: Caller, service: Service, password: str) -> None:
    """With a password or without."""
    service.records.password = password
    for method, path in (("POST", "/api/v1/readings"), ("PUT", "/api/v1/collectors/one")):
        for headers in ({}, {"authorization": "Bearer wrong"}, {"authorization": "Basic right"}):
            assert client.request(method, path, headers=headers, content=b"[]").status_code == 401
        assert client.request(method, path, headers=TOKEN, content=b"[]").status_code == 200


def test_changes_from_another_site_are_refused(client: Caller) -> None:
    """Another origin, a null origin, another site; our own page and plain programs pass."""
    refused: list[dict[str, str]] = [
        {"origin": "http://elsewhere.example"}, {"origin": "null"}, {"sec-fetch-site": "cross-site"},
        {"origin": "http://localhost:9999"}, {"sec-fetch-site": "same-site"},
    ]  # fmt: skip
    for headers in refused:
        assert client.post("/api/v1/tanks", content=b"{}", headers=JSON | headers).status_code == 403
    for headers in ({}, {"origin": "http://localhost"}, {"sec-fetch-site": "same-origin"}):
        assert client.post("/api/v1/tanks", content=b"{}", headers=JSON | headers).status_code == 200


def test_changes_must_be_json(client: Caller) -> None:
    """What a plain form of another page can send is refused."""
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"):
        assert client.post("/api/v1/tanks", content=b"{}", headers={"content-type": kind}).status_code == 415
    assert client.post("/api/v1/tanks").status_code == 415


def test_a_password_closes_json_but_for_health(client: Caller, service: Service) -> None:
    """Signed in, changes also need the session's token; the collector's token opens its own doors and metrics only."""
    cookie_csrf = client.get("/page").json()["csrf"]
    service.records.password = "set"
    assert client.get("/api/v1/health").status_code == 200
    assert client.get("/api/v1/tanks").status_code == 401
    assert client.get("/api/v1/tanks", headers=TOKEN).status_code == 401
    assert client.get("/metrics").status_code == 401
    assert client.get("/metrics", headers=TOKEN).status_code == 200
    sessions = Sessions(service.records, service.now_ms)
    session = sessions.read(None)
    sessions.enter(session, "Noor")
    client.cookies.clear()
    client.cookies.set("intermolt_session", sessions.write(session))
    assert client.get("/api/v1/tanks").status_code == 200
    assert client.post("/api/v1/tanks", content=b"{}", headers=JSON).status_code == 403
    stale = JSON | {"x-csrf-token": cookie_csrf}
    assert client.post("/api/v1/tanks", content=b"{}", headers=stale).status_code == 403
    right = JSON | {"x-csrf-token": session.csrf}
    assert client.post("/api/v1/tanks", content=b"{}", headers=right).status_code == 200


def test_forms_need_the_sessions_token(client: Caller) -> None:
    """Missing, wrong and right; and only as a form."""
    token = client.get("/page").json()["csrf"]
    assert client.post("/form", data={"a": "b"}).status_code == 403
    assert client.post("/form", data={"csrf": "é" * 10}).status_code == 403
    assert client.post("/form", data={"csrf": token}, headers={"origin": "http://elsewhere.example"}).status_code == 403
    assert client.post("/form", json={"csrf": token}).status_code == 415
    assert client.post("/form", data={"csrf": token, "note": "x" * 70_000}).status_code == 413
    answer = client.post("/form", data={"csrf": token})
    assert answer.json() == {"read": len(f"csrf={token}")}


def test_cookie_is_out_of_scripts_reach_and_sent_once(client: Caller) -> None:
    """HttpOnly, SameSite, thirty days; not sent again while it holds; none with JSON."""
    cookie = client.get("/page").headers["set-cookie"]
    for part in ("HttpOnly", "SameSite=Lax", "Max-Age=2592000", "Path=/"):
        assert part in cookie
    assert "Secure" not in cookie
    assert "set-cookie" not in client.get("/page").headers
    client.cookies.clear()
    assert "set-cookie" not in client.get("/api/v1/tanks").headers
    assert "Secure" in client.get("https://localhost/page").headers["set-cookie"]


def test_sessions_end_after_thirty_days_and_cannot_be_made_up(service: Service) -> None:
    """Old, altered and foreign cookies give a new, empty session."""
    service.records.password = "set"
    sessions = Sessions(service.records, service.now_ms)
    session = Session("i", "", "", False)
    sessions.enter(session, "Noor")
    cookie = sessions.write(session)
    assert sessions.read(cookie).name == "Noor"
    for bad in (cookie[:-2] + "xx", "x", "", "." * 50, "a" * 5000):
        assert sessions.read(bad).name == ""
    service.time_ms += 31 * 86_400_000
    assert sessions.read(cookie).name == ""


def test_the_door_keeps_a_bounded_list_of_addresses(service: Service) -> None:
    """Many callers cannot fill the memory; one IPv6 network counts as one."""
    door = Door(service.records, Sessions(service.records, service.now_ms), service.now_ms)
    session = Session("i", "", "", False)
    for number in range(MOST_ADDRESSES + 50):
        door.enter(session, f"10.0.{number // 256}.{number % 256}", "Noor", "x")
    assert len(door._failures) == MOST_ADDRESSES
    assert source_of("2001:db8::1") == source_of("2001:db8::ffff")
    assert source_of("2001:db8::1") != source_of("2001:db8:0:1::1")


def test_waiting_grows_and_is_bounded(service: Service) -> None:
    """Free tries first, then 2, 4, 8 s and so on, at most five minutes."""
    door = Door(service.records, Sessions(service.records, service.now_ms), service.now_ms)
    session = Session("i", "", "", False)
    waits = []
    for _ in range(14):
        waits.append(door.enter(session, "10.0.0.1", "Noor", "x").wait_s)
        service.time_ms += 400_000
    assert waits[:6] == [0, 0, 2, 4, 8, 16]
    assert waits[-1] == 300


def test_every_answer_carries_the_security_headers(client: Caller) -> None:
    """Pages, JSON and refusals alike."""
    for answer in (
        client.get("/page"),
        client.get("/api/v1/nothing"),
        client.get("/page", headers={"host": "x.example"}),
    ):
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "same-origin"
        policy = answer.headers["content-security-policy"]
        for part in ("default-src 'none'", "script-src 'self'", "frame-ancestors 'none'", "base-uri 'none'"):
            assert part in policy
        assert "unsafe" not in policy
