"""A tank's air test by its page, from the first tap to its result, and the ranked grace page, on the real service."""

from __future__ import annotations

import re
from collections.abc import Iterator
from math import exp
from pathlib import Path

import pytest

from api.app import create_api
from dashboard.app import join
from tests.dashboard.caller import Caller
from tests.dashboard.conftest import csrf_of
from tests.support.rooms import TestRoom, room

REST_AIRED, REST_STILL = 7.4, -7.0


@pytest.fixture
def tanks(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks, t1 well aired."""
    with room(tmp_path) as made:
        move(made, 7.4, REST_AIRED, 2.0, 20)
        yield made


@pytest.fixture
def site(tanks: TestRoom) -> Iterator[Caller]:
    """A browser on the whole app."""
    with Caller(join(create_api(tanks.service), tanks.service), accept="text/html") as made:
        yield made


def move(tanks: TestRoom, oxygen: float, rest: float, rate: float, minutes: int) -> float:
    """Water on its way to a rest value, a reading a minute."""
    for _ in range(minutes):
        oxygen = rest + (oxygen - rest) * exp(-rate / 60)
        tanks.minute(round(oxygen, 2))
        tanks.service.air_tests.look()
    return oxygen


def tap(site: Caller, step: str) -> int:
    """Tap the button of a step."""
    form = {"csrf": csrf_of(site.get("/tank/t1/air").text), "step": step}
    return site.post("/tank/t1/air", data=form).status_code


def test_a_test_from_tap_to_result(site: Caller, tanks: TestRoom) -> None:
    """Cautions first; each step shows what to do now; the result ranks the tank before one that is not known."""
    page = site.get("/tank/t1/air").text
    for words in ("Stay in the room", "check valve", "animal-care approval", "ends by itself at 5.2 mg/L"):
        assert words in page
    assert tap(site, "begin") == 303
    oxygen = move(tanks, 7.4, REST_STILL, 0.1, 60)
    assert "The air is off" in site.get("/tank/t1/air").text
    assert tap(site, "end") == 422
    assert tap(site, "on") == 303
    assert "The air is on again" in site.get("/tank/t1/air").text
    move(tanks, oxygen, REST_AIRED, 2.0, 60)
    assert tap(site, "end") == 303
    tanks.now_ms += 2000
    page = site.get("/grace").text
    assert "From the air test of" in page
    # 0.1 x (8.11 + 7.0) without air, 2.0 x (8.11 - 7.4) with it: 1.51 and 1.42 mg/L an hour
    assert re.search(r"Oxygen demand: 1\.[45]\d mg/L an hour", page)
    assert page.index(">t1</a>") < page.index("Not known yet") < page.index("<b>t2</b>")


def test_when_it_is_over_the_page_says_so_first(site: Caller, tanks: TestRoom) -> None:
    """At 5.2 mg/L: put the air on again, and one tap."""
    tap(site, "begin")
    move(tanks, 7.4, REST_STILL, 0.1, 120)
    page = site.get("/tank/t1/air").text
    assert "Put the air on again now" in page
    assert "oxygen came down to 5.2 mg/L" in page


def test_what_is_not_there_and_not_understood(site: Caller) -> None:
    """Each is a page that says so."""
    assert site.get("/tank/nowhere/air").status_code == 404
    assert tap(site, "dance") == 422
    assert tap(site, "on") == 422


def test_no_page_asks_to_stop_air_that_must_stay_on(site: Caller, tanks: TestRoom) -> None:
    """Low oxygen, no oxygen probe, another test running: said before anybody goes to the air pump."""
    assert "Stop the air of this tank" in site.get("/tank/t1/air").text
    page = site.get("/tank/t2/air").text
    assert "Leave the air on." in page
    assert "nothing could watch the test" in page
    move(tanks, 5.1, 5.1, 2.0, 2)
    page = site.get("/tank/t1/air").text
    assert "Leave the air on." in page
    assert "too near to 5.2 mg/L where a test ends" in page
    assert "Stop the air of this tank" not in page
    assert "The air is off: begin" not in page
