"""Every page against the made-up room: what it says, what it refuses, and that it trusts no text."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from api.domain.errors import Transient
from api.services.answers import RoomNow
from tests.dashboard.caller import Caller
from tests.dashboard.conftest import csrf_of
from tests.dashboard.fake_service import FakeService

PAGES = ("/", "/tank/a1", "/tank/a2", "/tank/a3", "/tank/b1", "/tank/c1", "/alerts", "/alert/41", "/alert/30")
HOSTILE = '<script>alert("x")</script>'


@pytest.mark.parametrize("path", PAGES)
def test_every_page_answers_says_it_is_simulated_and_names_no_other_host(client: Caller, path: str) -> None:
    """200, the notice of invented data, and nothing loaded from elsewhere."""
    answer = client.get(path)
    assert answer.status_code == 200
    assert "simulated room: invented data" in answer.text
    assert not re.findall(r'(?:src|href|action)="(?:https?:)?//', answer.text)
    assert " style=" not in answer.text
    assert "<style" not in answer.text
    assert not re.findall(r"<script(?![^>]*src=)", answer.text)


@pytest.mark.parametrize("path", ["/tank/nowhere", "/alert/999", "/nothing"])
def test_what_is_not_there_is_said_in_the_look_of_the_pages(client: Caller, path: str) -> None:
    """404 as a page, with the notice of invented data."""
    answer = client.get(path)
    assert answer.status_code == 404
    assert answer.headers["content-type"].startswith("text/html")
    assert "simulated room: invented data" in answer.text
    assert "looks.css" in answer.text


def test_missing_json_is_a_problem_body(client: Caller) -> None:
    """JSON routes keep problem bodies even when a browser asks."""
    answer = client.get("/api/v1/nothing")
    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/problem+json"


def test_room_lists_tanks_in_the_order_given_with_their_words(client: Caller) -> None:
    """Most urgent first is the service's order; the page keeps it."""
    page = client.get("/").text
    assert re.findall(r'id="strip-(\w+)"', page) == ["a2", "a3", "b1", "c1", "b2", "a1"]
    assert "oxygen falling, 3 h 20 min left" in page
    assert "4 of 6 tanks need attention" in page
    assert "2 alerts to acknowledge" in page
    assert "probe quiet for 14 min, last 25.1 °C at 02:56" in page


def test_room_tells_what_is_wrong_with_the_watch_itself(client: Caller) -> None:
    """Undelivered messages, failing ports, waiting spool and unclaimed probes, in words."""
    page = client.get("/").text
    for words in ("1 message not delivered", "no route to the mail server", "1 probe of molt-room cannot be read",
                  "ttyUSB3 is gone", "214 readings wait at molt-room", "1 probe belongs to no tank"):  # fmt: skip
        assert words in page


def test_unknown_values_are_never_shown_as_numbers(client: Caller) -> None:
    """The quiet probe's tank shows the words, and no current number."""
    page = client.get("/").text
    strip = page[page.index('id="strip-a3"') : page.index('id="strip-b1"')]
    assert 'class="number"' not in strip
    assert strip.count("not known") >= 2


def test_tank_page_explains_full_saturation(client: Caller) -> None:
    """The sentence with temperature, pressure, full saturation and the share that is there."""
    page = client.get("/tank/a2").text
    assert "At 26.2 °C and 96.1 kPa full saturation is 8.06 mg/L; 51 % of that is there now." in page
    assert "Full saturation is not known" in client.get("/tank/c1").text


def test_units_are_remembered_and_change_values_limits_and_charts(client: Caller) -> None:
    """Fahrenheit: 26.2 Cel is 79.2, the target 75 to 85 as its source says; percent from the probe."""
    token = csrf_of(client.get("/").text)
    for choice in ({"temperature": "f"}, {"oxygen": "percent"}):
        answer = client.post("/units", data={"csrf": token, "next": "/tank/a2", **choice})
        assert (answer.status_code, answer.headers["location"]) == (303, "/tank/a2")
    page = client.get("/tank/a2").text
    assert '<b class="number">79.2</b> <span class="unit">°F</span>' in page
    assert "target 75.0 °F to 85.0 °F" in page
    assert '<b class="number">51</b> <span class="unit">%</span>' in page
    assert "quantity=oxygen_saturation" in page
    assert "31.6 °C" not in client.get("/alert/38").text
    assert "Temperature 88.9 °F, above 87.8 °F. Falling 0.7 °F per hour." in client.get("/alert/38").text
    figure = client.get("/tank/a2/figure?quantity=temperature").json()
    assert figure["layout"]["meta"]["title"] == "temperature °F"


def test_a_foreign_next_page_is_not_followed(client: Caller) -> None:
    """Forms return to our own pages only."""
    token = csrf_of(client.get("/").text)
    for wanted in ("//elsewhere.example/", "https://elsewhere.example/", "/\\elsewhere.example", "x", "/a\r\nb"):
        answer = client.post("/units", data={"csrf": token, "next": wanted, "oxygen": "mg"})
        assert answer.headers["location"] == "/"


def test_acknowledging_needs_the_token_and_a_name_and_remembers_it(client: Caller, service: FakeService) -> None:
    """403 without the token, 422 without a name, then noted and gone from the calls."""
    token = csrf_of(client.get("/").text)
    address = "/alert/41/acknowledge"
    refused = client.post(address, data={"person": "Noor"})
    assert refused.status_code == 403
    assert "Nothing was changed" in refused.text
    assert client.post(address, data={"person": "Noor", "csrf": "0" * 64}).status_code == 403
    nameless = client.post(address, data={"csrf": token, "person": "  "})
    assert nameless.status_code == 422
    assert "Give your name" in nameless.text
    assert service.records.acknowledged == []
    done = client.post(address, data={"csrf": token, "person": "Noor É", "note": "going there", "next": "/"})
    assert (done.status_code, done.headers["location"]) == (303, "/")
    assert service.records.acknowledged == [(41, "Noor É", "going there")]
    page = client.get("/").text
    assert 'id="call-41"' not in page
    assert 'value="Noor É"' in page
    assert "Acknowledged by Noor É" in client.get("/alert/41").text


def test_hostile_texts_are_shown_as_text(client: Caller, service: FakeService) -> None:
    """Names, notes, reasons and errors from files, probes and people cannot become markup."""
    now = service.read.now
    first = now.tanks[0]
    bad_tank = replace(first.tank, name=HOSTILE, note=HOSTILE, species=HOSTILE)
    bad_alert = replace(first.alerts[0], tank_name=HOSTILE, note=HOSTILE, acknowledged_by=HOSTILE, text=HOSTILE)
    bad_latest = tuple(replace(item, reason=HOSTILE, quiet=False) for item in first.latest)
    bad = replace(first, tank=bad_tank, alerts=(bad_alert,), words=HOSTILE, latest=bad_latest)
    message = replace(now.undelivered[0], title=HOSTILE, last_error=HOSTILE)
    service.read.now = replace(
        now, tanks=(bad, *now.tanks[1:]), room=replace(now.room, name=HOSTILE), undelivered=(message,)
    )
    for path in ("/", "/tank/a2", "/alerts", "/alert/41"):
        page = client.get(path).text
        assert HOSTILE not in page
        assert "<script>" not in page
        assert "&lt;script&gt;" in page
    assert HOSTILE not in client.get(f"/tank/{HOSTILE}").text
    assert HOSTILE not in client.get("/tank/a2/figure?quantity=oxygen").text


def test_custom_times_that_make_no_sense_are_explained(client: Caller) -> None:
    """The tank page falls back to the last day and says why."""
    page = client.get("/tank/a2?span=own&start=2025-03-08T02:00&end=2025-03-07T02:00").text
    assert "The first time must lie before the second." in page
    assert "is not a date and time" in client.get("/tank/a2?span=own&start=yesterday&end=now").text
    answer = client.get(
        "/tank/a2/figure?quantity=oxygen&span=own&start=x&end=y", headers={"accept": "application/json"}
    )
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"


def test_a_busy_store_is_an_error_page_that_says_so(
    client: Caller, service: FakeService, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When the room itself cannot be read, a problem body still tells what happened."""

    def busy(now_ms: int) -> RoomNow:
        raise Transient("the disk is busy")

    monkeypatch.setattr(service.read, "room", busy)
    answer = client.get("/")
    assert answer.status_code == 503
    assert "the disk is busy" in answer.text


def test_static_files_may_be_kept_and_nothing_else_is_served(client: Caller) -> None:
    """The chart script comes from this machine, packed, for a year; other names are not there."""
    page = client.get("/tank/a2").text
    found = re.search(r'src="(/static/plotly-[^"]+)"', page)
    assert found is not None
    script = client.get(found.group(1))
    assert script.status_code == 200
    assert script.headers["cache-control"] == "public, max-age=31536000, immutable"
    assert script.headers["content-encoding"] == "gzip"
    assert "plotly-" not in client.get("/").text
    assert client.get("/static/app.py").status_code == 404
    assert client.get("/static/..%2Fapp.py").status_code == 404
