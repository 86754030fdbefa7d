"""The morning report as a page, on the whole app."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from tests.dashboard.caller import Caller
from tests.support.rooms import TestRoom


def pass_evening(lab: TestRoom) -> str:
    """From 20:00, an hour of low oxygen within two; the morning's day."""
    lab.now_ms = round(datetime(2026, 9, 21, 20, tzinfo=UTC).timestamp() * 1000)
    for oxygen in (*[7.5] * 30, *[4.6] * 60, *[7.5] * 30):
        lab.minute(oxygen)
    return "2026-09-22"


def test_the_night_so_far_and_the_night_before(lab: TestRoom, site: Caller) -> None:
    """Before its end the page says so; the day before has nothing of it; there is no day after."""
    day = pass_evening(lab)
    page = site.get("/morning").text
    assert "which is not over yet" in page
    assert "Oxygen below target for 1 h, lowest 4.6 mg/L at 20:3" in page
    assert f'href="?day={day}"' not in page
    before = site.get("/morning?day=2026-09-21").text
    assert "below target for" not in before
    assert f'href="?day={day}"' in before
    assert "Due today" not in before


def test_values_are_in_the_units_a_keeper_chose(lab: TestRoom, site: Caller) -> None:
    """26 °C is 78.8 °F; a change is one of °F as well."""
    pass_evening(lab)
    site.cookies.set("intermolt_temperature", "f")
    page = site.get("/morning").text
    assert "78.8 °F to 78.8 °F" in page
    assert "+0.0 °F" in page


@pytest.mark.parametrize(
    "day", ["yesterday", "2026-13-01", "0001-01-01", "%3Cscript%3E", "2026-09-21T00:00", "9" * 400]
)
def test_rubbish_is_refused(site: Caller, day: str) -> None:
    """What is no day, or none of ours."""
    answer = site.get(f"/morning?day={day}")
    assert answer.status_code == 422
    assert "<script>alert" not in answer.text


def test_a_day_ahead_is_today(lab: TestRoom, site: Caller) -> None:
    """Nobody reports the future; and the room's page leads there."""
    assert site.get("/morning?day=2999-01-01").status_code == 200
    assert 'href="/morning"' in site.get("/").text
