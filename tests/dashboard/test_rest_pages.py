"""Shelving, work on a tank and out of service by the pages and by JSON, on the real service."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.app import create_api
from dashboard.app import join
from tests.dashboard.caller import Caller
from tests.dashboard.conftest import csrf_of
from tests.support.rooms import TestRoom, room


@pytest.fixture
def tanks(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks; oxygen of t1 is low."""
    with room(tmp_path) as made:
        for _ in range(14):
            made.minute(4.5)
        yield made


@pytest.fixture
def site(tanks: TestRoom) -> Iterator[Caller]:
    """A browser on the whole app."""
    with Caller(join(create_api(tanks.service), tanks.service), accept="text/html") as made:
        yield made


def low_oxygen(tanks: TestRoom) -> int:
    """The alert's number."""
    return next(one.id for one in tanks.service.read.alerts(None) if one.kind == "low_oxygen")


def tap(site: Caller, page: str, path: str, **form: str) -> int:
    """Send a form of a page."""
    return site.post(path, data={"csrf": csrf_of(site.get(page).text), **form}).status_code


def test_an_alert_page_says_what_to_do_and_shelves(site: Caller, tanks: TestRoom) -> None:
    """Steps and cautions in order; a shelf with its reason stands on the alerts page and ends by a tap."""
    number = low_oxygen(tanks)
    page = site.get(f"/alert/{number}").text
    page = page[page.index("What to do") :]
    assert page.index("Is the airstone bubbling?") < page.index("Mains and water")
    assert "Your site’s rules" in page or "Your site&#39;s rules" in page
    path = f"/alert/{number}/shelve"
    assert tap(site, f"/alert/{number}", path, minutes="90000", reason="pump ordered", person="Ana") == 422
    assert tap(site, f"/alert/{number}", path, minutes="60", reason="", person="Ana") == 422
    assert tap(site, f"/alert/{number}", path, minutes="60", reason="pump <ordered>", person="Ana") == 303
    alerts = site.get("/alerts").text
    assert "At rest: judged, not told" in alerts
    assert "pump &lt;ordered&gt;" in alerts
    rest = tanks.service.resting.rests()[0].id
    assert tap(site, "/alerts", f"/rest/{rest}/end", person="Ben", next="/alerts") == 303
    assert "not all is back: low oxygen" in site.get("/alerts").text


def test_work_on_a_tank_is_one_tap_and_says_how_it_ended(site: Caller, tanks: TestRoom) -> None:
    """The name is remembered, so the next time it is one tap; the end says what is not back."""
    assert "Working on this tank" in site.get("/tank/t1").text
    assert tap(site, "/tank/t1", "/tank/t1/work", person="Ana") == 303
    page = site.get("/tank/t1").text
    assert "Work is over" in page
    assert 'name="person" value="Ana"' in page
    assert tap(site, "/tank/t1", f"/rest/{tanks.service.resting.rests()[0].id}/end", person="Ana") == 303
    assert "not all is back: low oxygen" in site.get("/tank/t1").text


def test_out_of_service_needs_a_reason(site: Caller, tanks: TestRoom) -> None:
    """Tank or probe; listed until somebody brings it back."""
    path = "/tank/t1/out-of-service"
    assert tap(site, "/tank/t1", path, what="", reason="", person="Ana") == 422
    assert tap(site, "/tank/t1", path, what="p1", reason="membrane torn", person="Ana") == 303
    assert "probe p1" in site.get("/alerts").text
    assert "until somebody brings it back" in site.get("/tank/t1").text


def test_the_same_by_json(site: Caller, tanks: TestRoom) -> None:
    """Routes under /api/v1, errors as problem bodies."""
    number = low_oxygen(tanks)
    said = {"person": "Ana", "reason": "known", "minutes": 30}
    assert site.post(f"/api/v1/alerts/{number}/shelve", json=said).json()["state"] == "shelved"
    resting = site.get("/api/v1/alerts/resting").json()
    assert [one["state"] for one in resting["rests"]] == ["shelved"]
    assert resting["rules"]
    rest = resting["rests"][0]["id"]
    assert site.post(f"/api/v1/alerts/resting/{rest}/end", json={"person": "Ana"}).json()["outcome"].startswith("not")
    assert site.post("/api/v1/tanks/t1/work", json={"person": "Ana"}).status_code == 201
    assert site.post("/api/v1/probes/p1/out-of-service", json={"person": "Ana", "reason": "torn"}).status_code == 201
    refused = site.post("/api/v1/tanks/t9/out-of-service", json={"person": "Ana", "reason": "empty"})
    assert (refused.status_code, refused.headers["content-type"]) == (404, "application/problem+json")


def test_an_alert_that_stands_for_more_than_a_day_is_stale(site: Caller, tanks: TestRoom) -> None:
    """Said on its card; a day as in ISA-18.2 clause 16.4."""
    number = low_oxygen(tanks)
    assert "stale" not in site.get(f"/alert/{number}").text
    tanks.now_ms += 25 * 3_600_000
    assert "stale: it has stood for more than a day" in site.get(f"/alert/{number}").text
