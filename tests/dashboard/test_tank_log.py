"""A tank's log on the real service: events in a few taps, undo, corrections, questions, labels."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from api.domain.husbandry import EventKind
from tests.dashboard.caller import Caller
from tests.dashboard.conftest import csrf_of
from tests.support.colony import DAY_MS, entries, log, settle
from tests.support.rooms import TestRoom, room

K = EventKind
LOG = "/tank/t1/log"


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks; Ada (1) alone in t1, Bo (2) and Cy (3) in t2."""
    with room(tmp_path) as one:
        settle(one, "Ada", "t1", days_ago=100)
        settle(one, "Bo", "t2", days_ago=100)
        settle(one, "Cy", "t2", days_ago=100)
        yield one


def send(site: Caller, path: str, page: str = LOG, **fields: str | list[str]) -> httpx.Response:
    """Send a form as the page would."""
    body = {"csrf": csrf_of(site.get(page).text), "person": "Aki", "back": page, **fields}
    return site.post(path, data=body, headers={"origin": "http://localhost"})


def forms(page: str) -> list[dict[str, str]]:
    """The hidden fields of each form of a page."""
    found = re.findall(r"<form.*?</form>", page, re.S)
    return [dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form)) for form in found]


def test_one_tap_feeds_the_tank(site: Caller, lab: TestRoom) -> None:
    """What the button holds is enough; the page says it is kept and offers to undo it."""
    site.cookies.set("intermolt_name", "Noor")
    tap = next(one for one in forms(site.get(LOG).text) if one.get("kind") == "fed")
    answer = site.post("/event", data=tap, headers={"origin": "http://localhost"})
    assert answer.status_code == 303
    page = site.get(answer.headers["location"]).text
    assert "Kept: fed" in page
    entry = entries(lab, kinds=("fed",))[0]
    assert (entry.event.tank, entry.event.animal, entry.entered_by) == ("t1", None, "Noor")
    undo = next(one for one in forms(page) if one.get("back", "").endswith(f"kept={entry.id}"))
    gone = site.post(f"/event/{entry.id}/withdraw", data=undo, headers={"origin": "http://localhost"})
    assert "withdrawn by Noor" in site.get(gone.headers["location"]).text
    lab.now_ms += 61_000
    log(lab, K.FED, tank="t1", what="pea")
    lab.now_ms += 61_000
    assert "Undo" not in site.get(LOG).text


def test_a_molt_is_two_taps_and_brings_its_reminders(site: Caller, lab: TestRoom) -> None:
    """In a tank of one the animal is known; tank and strip say how long it is soft."""
    tap = next(one for one in forms(site.get(LOG).text) if one.get("kind") == "molt")
    assert tap["animal"] == "1"
    answer = send(site, "/event", kind="molt", animal="1", tank="t1", time="", note="")
    page = site.get(answer.headers["location"]).text
    assert "Leave the exuvia in" in page
    assert "soft until 25 Sep 14:13" in page
    for path in ("/", "/tank/t1"):
        assert "soft: Ada until 25 Sep 14:13" in site.get(path).text
    lab.now_ms += 700_000
    assert "Leave the exuvia in" not in site.get(answer.headers["location"]).text


def test_in_a_tank_of_two_the_animal_is_chosen(site: Caller, lab: TestRoom) -> None:
    """Each has its own button; nobody's exuvia may be kept; without a choice the form comes back filled in."""
    page = site.get("/tank/t2/log").text
    assert page.count('type="radio" name="animal" value="2"') >= 5
    assert "nobody knows" in page
    answer = send(site, "/event", "/tank/t2/log", kind="molt", tank="t2", note="on her back")
    assert answer.status_code == 422
    assert "2 animals are in this tank; say which one it was" in answer.text
    assert 'value="on her back"' in answer.text
    since = "2026-09-20T08:00"
    assert send(site, "/event", "/tank/t2/log", kind="exuvia", tank="t2", animal="", since=since).status_code == 303
    assert entries(lab, kinds=("exuvia",))[0].event.animal is None
    assert "soft: one of its animals until" in site.get("/tank/t2").text


def test_the_last_look_is_offered(site: Caller, lab: TestRoom) -> None:
    """An exuvia lies between the newest entry of the tank and now."""
    log(lab, K.FED, tank="t1", days_ago=2)
    assert 'name="since" value="2026-09-19T14:13"' in site.get(LOG).text


def test_what_is_unusual_is_asked_about_and_kept_when_confirmed(site: Caller, lab: TestRoom) -> None:
    """409 with the question and the form as it was; the second tap keeps it."""
    log(lab, K.MEASURED, 1, days_ago=9, carapace_mm=30.0)
    fields = {"kind": "measured", "animal": "1", "carapace_mm": "28,5", "note": "twice"}
    answer = send(site, "/event", **fields)
    assert answer.status_code == 409
    assert "seldom shrinks" in answer.text
    assert 'value="28,5"' in answer.text
    assert len(entries(lab, kinds=("measured",))) == 1
    assert send(site, "/event", **fields, confirm="yes").status_code == 303
    assert lab.service.lives.get(1).carapace_mm == 28.5


def test_test_kit_values_and_their_units(site: Caller, lab: TestRoom) -> None:
    """Each in its own unit, which the next form offers; empty ones are left out."""
    fields = {"tested_nitrite": "0,1", "unit_nitrite": "mg/L NO2", "tested_ph": "7.6", "tested_hardness": ""}
    answer = send(site, "/event", kind="tested", tank="t1", **fields)
    tested = {str(one.quantity): one.value for one in entries(lab, kinds=("tested",))[0].event.tested}
    # 14.007 / 46.005 g/mol
    assert tested == {"nitrite": pytest.approx(0.1 * 14.007 / 46.005, rel=1e-3), "ph": 7.6}
    page = site.get(answer.headers["location"]).text
    assert "nitrite 0.03 mg/L as N (read 0.1 mg/L NO2)" in page
    assert '<option value="mg/L NO2" selected>' in page


def test_an_entry_is_corrected_and_both_stay(site: Caller, lab: TestRoom) -> None:
    """From its own page, filled in as it was; the earlier one says what became of it."""
    first = log(lab, K.MOLT, 1, days_ago=3)
    page = site.get(f"/event/{first}").text
    assert 'name="time" value="2026-09-18T14:13"' in page
    fields = {"kind": "molt", "animal": "1", "time": "2026-09-17T09:00", "replaces": str(first)}
    answer = send(site, "/event", f"/event/{first}", **fields)
    assert answer.status_code == 303
    moved_on = site.get(answer.headers["location"])
    assert moved_on.status_code == 303
    assert "A correction of" in site.get(moved_on.headers["location"]).text
    assert "does not count any more" in site.get(f"/event/{first}").text
    assert "corrected" in site.get(LOG).text
    again = send(site, "/event", f"/event/{first + 1}", kind="molt", animal="1", replaces=str(first))
    assert (again.status_code, "was corrected by event" in again.text) == (422, True)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"kind": "molt", "animal": "1", "person": ""}, "give a name"),
        ({"kind": "molt", "animal": "99"}, "no animal 99"),
        ({"kind": "molt", "animal": "one"}, "not the number of a record"),
        ({"kind": "molt", "animal": "1", "time": "yesterday"}, "not a date and time"),
        ({"kind": "molt", "animal": "1", "time": "2027-01-01T00:00"}, "not come yet"),
        ({"kind": "exuvia", "animal": "1", "since": "2026-09-22T00:00"}, "must lie before"),
        ({"kind": "measured", "animal": "1", "carapace_mm": "large"}, "is not a number such as 21.5"),
        ({"kind": "premolt", "animal": "1", "signs": "singing"}, "does not exist"),
        ({"kind": "tested", "tank": "t1", "tested_ph": "7", "unit_ph": "kg"}, "unit &#39;kg&#39;"),
        ({"kind": "tested", "tank": "t1", "tested_ph": "77"}, "no amount in water"),
        ({"kind": "moved", "animal": "1"}, "say which tank"),
        ({"kind": "note", "tank": "t9", "note": "x"}, "no tank"),
        ({"kind": "note", "tank": "t1", "note": ""}, "says nothing"),
    ],
)
def test_forms_filled_in_badly(site: Caller, lab: TestRoom, fields: dict[str, str], words: str) -> None:
    """422, what is wrong, and nothing kept."""
    answer = send(site, "/event", **fields)
    assert (answer.status_code, words in answer.text) == (422, True)
    assert len(entries(lab)) == 3


def test_pages_that_are_not_there(site: Caller) -> None:
    """A tank, an entry, a kind of event."""
    assert site.get("/tank/t9/log").status_code == 404
    assert site.get("/event/77").status_code == 404
    assert site.get(f"/event/{2**70}").status_code == 422
    assert site.get(f"{LOG}?kept={2**70}").status_code == 422
    assert "Kept" not in site.get(f"{LOG}?kept=77").text
    assert send(site, "/event", kind="moult").status_code == 422
    assert send(site, "/event/77/withdraw").status_code == 404
    assert site.get("/tank/t9/label").status_code == 404


def test_notes_are_shown_as_they_were_written(site: Caller, lab: TestRoom) -> None:
    """And nothing in them is taken for a page's own words."""
    log(lab, K.NOTE, tank="t1", note="<script>alert(1)</script>")
    page = site.get(LOG).text
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert(1)" in page


def test_the_short_way_and_its_label(site: Caller) -> None:
    """A code leads to the tank's log by the address phones use; one that only this computer knows is told."""
    assert site.get("/t/t1").headers["location"] == LOG
    page = site.get("/tank/t1/label").text
    assert "only this computer understands" in page
    page = site.get("/tank/t1/label?base=http://192.168.1.20:8080/").text
    assert "http://192.168.1.20:8080/t/t1" in page
    assert "only this computer" not in page
    assert page.count('class="qr"') == 1
    assert site.get("/labels").text.count('class="qr"') == 2
    for base in ("javascript:alert(1)", "http://", "http://a/b", "http://a:x", "ftp://a"):
        assert "That is no address" in site.get("/labels", params={"base": base}).text
    assert "/tank/t1/log" in site.get("/tank/t1").text


def test_a_name_is_remembered(site: Caller, lab: TestRoom) -> None:
    """Once given, it is not asked for again, and can be changed."""
    assert 'name="person" required' in site.get(LOG).text
    send(site, "/event", kind="fed", tank="t1")
    assert "Entering as <b>Aki</b>" in site.get(LOG).text
    send(site, "/name", person="Noor", next=LOG)
    assert "Entering as <b>Noor</b>" in site.get(LOG).text
    assert lab.now_ms - entries(lab)[-1].event.time_ms < DAY_MS


def test_the_log_stands_on_the_tanks_charts(site: Caller, lab: TestRoom) -> None:
    """A mark a standing event, with its words; what was withdrawn leaves no mark."""
    lab.minute(7.0)
    log(lab, K.FED, tank="t1", days_ago=0.2, what="pea")
    log(lab, K.MOLT, 1, days_ago=0.1)
    gone = log(lab, K.NOTE, tank="t1", note="calm")
    lab.service.events.withdraw(gone, "Noor", lab.now_ms).result(10)
    log(lab, K.FED, tank="t2")
    figure = site.get("/tank/t1/figure?quantity=oxygen").json()
    marks = next(one for one in figure["data"] if one.get("name") == "events")
    assert sorted(marks["text"]) == ["fed", "molt seen Ada"]
    assert len(set(marks["marker"]["symbol"])) == 2
