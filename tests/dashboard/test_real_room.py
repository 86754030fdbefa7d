"""The pages on the real service with its real store: readings go in at one end, words come out at the other."""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

from api.app import create_api
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.keepers_command import keepers_command
from dashboard.app import join
from tests.dashboard.caller import Caller
from tests.dashboard.conftest import csrf_of
from tests.support.rooms import TestRoom, room

Figure: Any = import_module("plotly.graph_objects").Figure
FULL_AT_26_C = 8.11
"""Full saturation of fresh water at 26 Cel and 760 mmHg as the USGS program DOTABLES prints it. [mg/L]"""


@pytest.fixture
def tanks(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks; t1's oxygen falls for an hour, t2's probe was never heard."""
    with room(tmp_path) as made:
        for minute in range(60):
            made.minute(6.6 - 0.04 * minute)
        yield made


@pytest.fixture
def site(tanks: TestRoom) -> Iterator[Caller]:
    """A browser on the whole app."""
    app = join(create_api(tanks.service), tanks.service)
    with Caller(app, accept="text/html") as made:
        yield made


@pytest.mark.parametrize("path", ["/", "/tank/t1", "/tank/t1?span=month", "/tank/t2", "/alerts", "/alert/1"])
def test_every_page_answers(site: Caller, path: str) -> None:
    """200, and a room with real probes is not called simulated."""
    answer = site.get(path)
    assert answer.status_code == 200
    assert "simulated room" not in answer.text


def test_the_room_says_what_falls_and_what_was_never_heard(site: Caller) -> None:
    """The falling tank stands first with its words, number and place; the silent one is not known."""
    page = site.get("/").text
    falling, silent = page.index('id="strip-t1"'), page.index('id="strip-t2"')
    assert falling < silent
    assert "oxygen falling" in page[falling:silent]
    assert '<b class="number">4.2</b> <span class="unit">mg/L</span>' in page[falling:silent]
    assert "outside, low" in page[falling:silent]
    assert "not known" in page[silent:]
    assert 'class="number"' not in page[silent:]
    assert "2 of 2 tanks need attention" in page


def test_the_tank_page_gives_full_saturation_as_published(site: Caller) -> None:
    """26 Cel at 101.3 kPa; 4.24 mg/L is 52 % of it."""
    page = site.get("/tank/t1").text
    share = round(100 * 4.24 / FULL_AT_26_C)
    assert f"At 26.0 °C and 101.3 kPa full saturation is {FULL_AT_26_C} mg/L; {share} % of that is there now." in page


@pytest.mark.parametrize("span", ["day", "week", "month"])
def test_charts_are_valid_figures(site: Caller, span: str) -> None:
    """As the chart library itself checks them, with the alert marked."""
    spec = site.get(f"/tank/t1/figure?quantity=oxygen&span={span}").json()
    Figure(spec)
    assert [trace["name"] for trace in spec["data"] if trace.get("text")] == ["urgent"]


def test_an_alert_is_acknowledged_for_good(site: Caller, tanks: TestRoom) -> None:
    """The form's name and note are in the store and on the alert's own page."""
    page = site.get("/").text
    alert = tanks.service.read.alerts(None)[0]
    assert f'action="/alert/{alert.id}/acknowledge"' in page
    form = {"csrf": csrf_of(page), "person": "Noor", "note": "pump was off", "next": "/"}
    assert site.post(f"/alert/{alert.id}/acknowledge", data=form).status_code == 303
    kept = tanks.service.read.alert(alert.id)
    assert (kept.acknowledged_by, kept.note) == ("Noor", "pump was off")
    assert f'id="call-{alert.id}"' not in site.get("/").text
    assert "pump was off" in site.get(f"/alert/{alert.id}").text


def test_an_alert_that_is_not_there_is_a_page_that_says_so(site: Caller) -> None:
    """Acknowledging nothing is an error, not a silent yes."""
    form = {"csrf": csrf_of(site.get("/").text), "person": "Noor"}
    assert site.post("/alert/4711/acknowledge", data=form).status_code == 404


def test_an_unclaimed_probe_is_told(site: Caller, tanks: TestRoom) -> None:
    """A probe nobody described is kept and named."""
    tanks.take(RawReading("stray", Quantity.TEMPERATURE, tanks.now_ms, 20.0, "Cel"))
    tanks.now_ms += 2000
    page = site.get("/").text
    assert "1 probe belongs to no tank" in page
    assert "stray" in page


def test_a_password_closes_the_pages_until_it_is_given(site: Caller, tanks: TestRoom) -> None:
    """Set from the command line's side while the service runs; hashed and checked for real."""
    assert site.get("/").status_code == 200
    keepers_command(tanks.folder / "data", "password", "Noor", lambda: "nine lanterns")
    closed = site.get("/tank/t1")
    assert (closed.status_code, closed.headers["location"]) == (303, "/login?next=%2Ftank%2Ft1")
    token = csrf_of(site.get("/login").text)
    form = {"csrf": token, "name": "Noor", "password": "nine lantern", "next": "/tank/t1"}
    assert site.post("/login", data=form).status_code == 403
    let_in = site.post("/login", data=form | {"password": "nine lanterns"})
    assert (let_in.status_code, let_in.headers["location"]) == (303, "/tank/t1")
    page = site.get("/tank/t1")
    assert page.status_code == 200
    assert "Signed in as Noor." in page.text
