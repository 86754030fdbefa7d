"""Signing in and out, and what is closed to those who did not."""

from __future__ import annotations

from tests.dashboard.caller import Caller
from tests.dashboard.conftest import csrf_of
from tests.dashboard.fake_service import FakeService


def test_a_password_closes_every_page(client: Caller, service: FakeService) -> None:
    """Pages lead to the sign-in page and back to the page wanted."""
    service.records.passwords["Noor"] = "molting at dawn"
    for path in ("/", "/tank/a2", "/alerts", "/alert/41"):
        answer = client.get(path)
        assert answer.status_code == 303
        assert answer.headers["location"] == "/login?next=" + path.replace("/", "%2F")
    assert client.get("/live?page=room", headers={"accept": "text/event-stream"}).status_code == 401
    assert client.get("/tank/a2/figure?quantity=oxygen", headers={"accept": "application/json"}).status_code == 401


def test_signing_in_opens_and_signing_out_closes(client: Caller, service: FakeService) -> None:
    """Wrong password 403, right one opens; acknowledging is then done under that name."""
    service.records.passwords["Noor"] = "molting at dawn"
    form = client.get("/login?next=/alerts").text
    assert "simulated room: invented data" in form
    wrong = client.post("/login", data={"csrf": csrf_of(form), "name": "Noor", "password": "x", "next": "/alerts"})
    assert wrong.status_code == 403
    assert "do not go together" in wrong.text
    right = client.post(
        "/login", data={"csrf": csrf_of(form), "name": "Noor", "password": "molting at dawn", "next": "/alerts"}
    )
    assert (right.status_code, right.headers["location"]) == (303, "/alerts")
    page = client.get("/").text
    assert "You are Noor." in page
    client.post("/alert/41/acknowledge", data={"csrf": csrf_of(page), "person": "Somebody else"})
    assert service.records.acknowledged == [(41, "Noor", "")]
    assert client.post("/logout", data={"csrf": csrf_of(page)}).status_code == 303
    assert client.get("/").status_code == 303


def test_the_token_from_before_signing_in_is_worth_nothing_after(client: Caller, service: FakeService) -> None:
    """Signing in makes a fresh session, so a planted one cannot be used."""
    service.records.passwords["Noor"] = "molting at dawn"
    before = csrf_of(client.get("/login").text)
    client.post("/login", data={"csrf": before, "name": "Noor", "password": "molting at dawn"})
    assert csrf_of(client.get("/").text) != before
    assert client.post("/units", data={"csrf": before, "oxygen": "mg"}).status_code == 403


def test_a_changed_password_ends_sessions(client: Caller, service: FakeService) -> None:
    """The cookie holds a mark of the passwords."""
    service.records.passwords["Noor"] = "molting at dawn"
    form = client.get("/login").text
    client.post("/login", data={"csrf": csrf_of(form), "name": "Noor", "password": "molting at dawn"})
    assert client.get("/").status_code == 200
    service.records.passwords["Noor"] = "another one"
    assert client.get("/").status_code == 303


def test_failures_make_the_next_try_wait(client: Caller, service: FakeService) -> None:
    """After three failures even the right password waits; later it opens."""
    service.records.passwords["Noor"] = "molting at dawn"
    token = csrf_of(client.get("/login").text)
    for _ in range(3):
        answer = client.post("/login", data={"csrf": token, "name": "Noor", "password": "x"})
    assert "Wait 2 s" in answer.text
    right = {"csrf": token, "name": "Noor", "password": "molting at dawn"}
    assert client.post("/login", data=right).status_code == 403
    service.clock_ms += 3000
    assert client.post("/login", data=right).status_code == 303


def test_without_a_password_there_is_nothing_to_sign_in_to(client: Caller) -> None:
    """The sign-in page leads to the room."""
    assert client.get("/login").headers["location"] == "/"
