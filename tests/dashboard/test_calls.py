"""What waits to be acknowledged on the room page: a tank is one card and one tap, whatever is wrong with it."""

from __future__ import annotations

import re

from api.domain.alert import AlertState
from tests.dashboard.caller import Caller
from tests.dashboard.conftest import csrf_of
from tests.support.rooms import TestRoom


def troubled(lab: TestRoom) -> list[int]:
    """Low oxygen and heat in t1; the numbers of the alerts that wait, as they are listed."""
    for _ in range(20):
        lab.minute(2.6, 36.0)
    found = [one for one in lab.service.read.alerts([AlertState.UNACKNOWLEDGED]) if one.tank == "t1"]
    assert {"low_oxygen", "heat"} <= {str(one.kind) for one in found}
    return [one.id for one in found]


def test_one_tank_is_one_card(site: Caller, lab: TestRoom) -> None:
    """The others stand beside the most urgent one, each with its own link."""
    numbers = troubled(lab)
    page = site.get("/").text
    assert page.count('id="call-') == 1
    for number in numbers:
        assert f'href="/alert/{number}"' in page
    assert f"all {len(numbers)} of t1" in page


def test_one_tap_acknowledges_what_was_shown_and_nothing_else(site: Caller, lab: TestRoom) -> None:
    """Numbers that are none are refused before anything is acknowledged."""
    numbers = troubled(lab)
    page = site.get("/").text
    first = int(re.findall(r'action="/alert/(\d+)/acknowledge"', page)[0])
    others = re.findall(r'name="also" value="(\d+)"', page)
    assert sorted([first, *map(int, others)]) == sorted(numbers)
    form: dict[str, object] = {"csrf": csrf_of(page), "person": "Ada", "next": "/"}
    for odd in ("x", "-1", "99999999999999999999"):
        assert site.post(f"/alert/{first}/acknowledge", data=form | {"also": [odd]}).status_code == 422
    assert len(lab.service.read.alerts([AlertState.UNACKNOWLEDGED])) >= len(numbers)
    assert site.post(f"/alert/{first}/acknowledge", data=form | {"also": others}).status_code == 303
    for number in numbers:
        alert = lab.service.read.alert(number)
        assert (alert.state, alert.acknowledged_by) == (AlertState.ACKNOWLEDGED, "Ada")
    assert 'id="call-' not in site.get("/").text


def test_an_alert_alone_asks_for_itself_only(site: Caller, lab: TestRoom) -> None:
    """No word about others."""
    for _ in range(15):
        lab.minute(4.5)
    page = site.get("/").text
    assert page.count('id="call-') == 1
    assert 'name="also"' not in page
    assert "Also of" not in page
