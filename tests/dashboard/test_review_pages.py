"""The review page on the real service: verdicts with their links, the checklist, and days that cannot be reviewed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.dashboard.caller import Caller
from tests.support.colony import settle
from tests.support.rooms import TestRoom, room


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks."""
    with room(tmp_path) as one:
        one.minute(7.4)
        yield one


def test_each_tank_has_a_verdict_with_reasons_that_lead_to_their_data(site: Caller, lab: TestRoom) -> None:
    """Only tanks with animals unless others are asked for; what is the same in two tanks is one line."""
    settle(lab, "Ada", "t1", days_ago=30, carapace_mm=16.0)
    page = site.get("/review").text
    assert ">t1</a>: fix first</h2>" in page or ">t1</a>: not known</h2>" in page
    assert ">t2</a>:" not in page
    for link in ("/tank/t1?span=month", "/probes", "/tank/t1/air", "/tank/t1/log", "/calendar?tank=t1"):
        assert f'href="{link}"' in page
    both = site.get("/review?tank=t1&tank=t2").text
    assert both.count("Test ammonia and enter it.") == 1
    assert "With care" in both


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ("from=2020-01-01&to=2020-02-01", "looks ahead"),
        ("from=x", "is not a day"),
        ("from=9999-12-31&to=9999-12-31", "the year 9999"),
        ("to=2026-09-01", "ends after it starts"),
    ],
)
def test_days_that_cannot_be_reviewed(site: Caller, asked: str, words: str) -> None:
    """The page says why, and keeps the form."""
    answer = site.get(f"/review?{asked}")
    assert answer.status_code == 422
    assert words in answer.text
    assert 'name="from"' in answer.text


def test_a_tank_that_is_not_there(site: Caller) -> None:
    """Said in words, with the tanks there are."""
    answer = site.get("/review?tank=nowhere")
    assert answer.status_code == 422
    assert "no tank" in answer.text
