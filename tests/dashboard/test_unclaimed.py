"""The room page's place for probes that no tank claims, on the real service."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.app import create_api
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from dashboard.app import join
from tests.dashboard.caller import Caller
from tests.dashboard.conftest import csrf_of
from tests.support.rooms import TestRoom, room

TITLE = "Not claimed by a tank"


@pytest.fixture
def tanks(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks, and two strangers."""
    with room(tmp_path) as made:
        for probe, value in (("stray.1", 20.0), ("stray:2", 21.5)):
            made.now_ms += 1000
            made.take(RawReading(probe, Quantity.TEMPERATURE, made.now_ms, value, "Cel"))
        yield made


@pytest.fixture
def site(tanks: TestRoom) -> Iterator[Caller]:
    """A browser on the whole app."""
    app = join(create_api(tanks.service), tanks.service)
    with Caller(app, accept="text/html") as made:
        yield made


def test_each_stranger_stands_with_its_value_and_the_tanks_to_choose(site: Caller) -> None:
    """Heard last, first."""
    page = site.get("/").text
    section = page[page.index(TITLE) :]
    assert section.index("stray:2") < section.index("stray.1")
    assert '<b class="number">21.5</b>' in section
    assert 'action="/probe/stray%3A2/claim"' in section
    assert '<option value="t1">t1</option><option value="t2">t2</option>' in section


def test_one_tap_claims(site: Caller, tanks: TestRoom) -> None:
    """The page comes again without it, and its tank has it."""
    form = {"csrf": csrf_of(site.get("/").text), "tank": "t2", "next": "/"}
    assert site.post("/probe/stray%3A2/claim", data=form).status_code == 303
    assert tanks.service.plan().probes["stray:2"].tank == "t2"
    page = site.get("/").text
    assert 'id="stray-stray:2"' not in page
    assert 'id="stray-stray.1"' in page


@pytest.mark.parametrize(("probe", "tank", "status"), [("stray.1", "", 404), ("stray.1", "t9", 404), ("no", "t1", 404)])
def test_a_claim_that_cannot_be_is_a_page_that_says_so(probe: str, tank: str, status: int, site: Caller) -> None:
    """Nothing is changed."""
    form = {"csrf": csrf_of(site.get("/").text), "tank": tank}
    assert site.post(f"/probe/{probe}/claim", data=form).status_code == status


def test_without_the_page_s_own_token_nothing_is_claimed(site: Caller, tanks: TestRoom) -> None:
    """A foreign page cannot do it."""
    assert site.post("/probe/stray.1/claim", data={"csrf": "x", "tank": "t2"}).status_code == 403
    assert "stray.1" not in tanks.service.plan().probes


def test_the_section_goes_with_the_last_stranger_and_a_barometer_is_none(tmp_path: Path) -> None:
    """A room without strangers is not told of them."""
    with room(tmp_path) as made:
        made.take(RawReading("barometer", Quantity.PRESSURE, made.now_ms, 100.9, "kPa"))
        with Caller(join(create_api(made.service), made.service), accept="text/html") as site:
            assert TITLE not in site.get("/").text
