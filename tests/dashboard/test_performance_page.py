"""The page of how the alerts do, on the whole app."""

from __future__ import annotations

import pytest

from tests.dashboard.caller import Caller
from tests.support.rooms import TestRoom


def test_an_empty_room_is_judged_by_nothing(site: Caller) -> None:
    """No alerts: counts are met, shares are not judged, and how short the time is stands there."""
    page = site.get("/performance").text
    assert "The standard asks for 30 days" in page
    assert "0 alerts since" in page
    assert page.count("not judged") >= 5
    assert "Nothing came." in page


def test_what_came_is_listed_with_its_figures(lab: TestRoom, site: Caller) -> None:
    """The alert stands in the list with its place; each figure has its source."""
    for oxygen in (*[7.5] * 3, *[4.5] * 14):
        lab.minute(oxygen)
    page = site.get("/performance?days=7").text
    assert "t1: low oxygen (oxygen), p1" in page
    assert "1 time<" in page
    assert "IEC 62682:2014" in page
    assert "ISA-18.2-2016, clause 16.4" in page
    lab.now_ms += 2 * 86_400_000
    stale = site.get("/performance").text
    assert "Standing for more than a day" in stale
    assert "1 now, most on a day 1" in stale


@pytest.mark.parametrize("days", ["0", "-4", "99999999"])
def test_odd_lengths_are_the_usual_one(site: Caller, days: str) -> None:
    """A number that is no choice shows the 30 days."""
    page = site.get(f"/performance?days={days}")
    assert page.status_code == 200
    assert 'href="?days=30" aria-current="true"' in page.text


def test_rubbish_is_refused(site: Caller) -> None:
    """What is no number at all."""
    assert site.get("/performance?days=many").status_code == 422
    assert 'href="/performance"' in site.get("/alerts").text
