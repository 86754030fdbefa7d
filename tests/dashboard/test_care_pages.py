"""Care profiles on the pages: numbers with sources, a change with its reason, doubts, withdrawal, history."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.app import create_api
from dashboard.app import join
from tests.dashboard.caller import Caller
from tests.dashboard.conftest import csrf_of
from tests.support.rooms import ROOM, TestRoom, room


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Caller]:
    """A browser on the whole app; t2 holds signal crayfish."""
    text = ROOM.replace('id = "t2"\n', 'id = "t2"\nspecies = "Pacifastacus leniusculus"\n', 1)
    with room(tmp_path, text) as tanks, opened(tanks) as made:
        yield made


def opened(tanks: TestRoom) -> Caller:
    """A browser."""
    return Caller(join(create_api(tanks.service), tanks.service), accept="text/html")


def change(site: Caller, name: str, **form: str) -> tuple[int, str]:
    """Send the form of a profile."""
    page = f"/care/{name}"
    sent = site.post(page, data={"csrf": csrf_of(site.get(page).text), "person": "Ana", **form})
    return sent.status_code, sent.text


def test_profiles_are_listed_with_their_tanks_and_why(site: Caller) -> None:
    """Those in use first; a tank's page leads there."""
    page = site.get("/care").text
    assert page.index("signal") < page.index("noble")
    assert "(by its species)" in page
    assert 'href="/care/signal"' in site.get("/tank/t2").text
    assert "stress from 25 °C" in site.get("/care/signal").text
    assert site.get("/care/nothing").status_code == 404


def test_a_change_is_kept_with_its_reason_and_can_be_withdrawn(site: Caller) -> None:
    """Above the built-in number, which stays readable below it."""
    status, _ = change(site, "warm-water", quantity="oxygen", tolerable_low="5,5", reason="weak <pump>")
    assert status == 303
    page = site.get("/care/warm-water").text
    assert "without the change: 5 mg/L" in page
    assert "weak &lt;pump&gt;" in page
    assert "with changes made here" in page
    withdrawn = {"withdraw": "yes", "confirm": "yes", "quantity": "oxygen", "tolerable_low": "none"}
    assert change(site, "warm-water", reason="new pump", **withdrawn)[0] == 303
    page = site.get("/care/warm-water").text
    assert "None: what room.toml or the program says is in force." in page
    assert "new pump" in page


def test_the_same_by_json(site: Caller) -> None:
    """In force, changed, asked about (409), refused (422), and told in an export's description."""
    said = {"quantity": "oxygen", "numbers": {"tolerable_low": 5.5}, "person": "Ana", "reason": "weak pump"}
    kept = site.post("/api/v1/care/warm-water/changes", json=said)
    assert (kept.status_code, kept.json()["history"][0]["reason"]) == (201, "weak pump")
    assert next(one["profile"]["name"] for one in site.get("/api/v1/care").json()) in ("signal", "warm-water")
    warm = {"quantity": "temperature", "numbers": {"target_high": 24.0}, "person": "Ana", "reason": "trial"}
    assert site.post("/api/v1/care/signal/changes", json=warm).status_code == 409
    assert site.post("/api/v1/care/signal/changes", json=warm | {"confirm": True}).status_code == 201
    refused = site.post("/api/v1/care/signal/changes", json=said | {"numbers": {"tolerable_low": 99.0}})
    assert (refused.status_code, refused.headers["content-type"]) == (422, "application/problem+json")
    assert site.get("/api/v1/care/nothing").status_code == 404


def test_what_cannot_be_is_refused_and_what_is_odd_is_asked(site: Caller) -> None:
    """What was typed is still there."""
    status, page = change(site, "warm-water", quantity="temperature", danger_low="25", reason="test")
    assert (status, "danger_low 25 is above" in page, 'value="25"' in page) == (422, True, True)
    status, page = change(site, "signal", quantity="temperature", target_high="24", reason="trial", tank="t2")
    assert (status, "cool-water species" in page, "I have thought it over" in page) == (422, True, True)
    asked = {"quantity": "temperature", "target_high": "24", "tank": "t2", "confirm": "yes"}
    assert change(site, "signal", reason="trial", **asked)[0] == 303
    for rubbish in ({"target_low": "warm"}, {"quantity": "colour"}, {"target_low": "nan"}, {}):
        form = {"quantity": "temperature", "reason": "test"} | rubbish
        assert change(site, "warm-water", **form)[0] == 422
