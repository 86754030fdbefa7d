"""Rehearsal on a page: kept readings once more with a limit moved, beside what was raised live; nothing is changed."""

from __future__ import annotations

import re
import time
from math import exp

from api.domain.alert import AlertKind
from tests.dashboard.caller import Caller
from tests.dashboard.conftest import csrf_of
from tests.support.rooms import TestRoom

WAIT_S = 60.0


def night(lab: TestRoom, minutes: int = 420) -> None:
    """t1's air is lost after three hours."""
    for at in range(minutes):
        gone = max(0, at - 180) / 60.0
        lab.minute(7.4 - 4.0 * (1.0 - exp(-0.25 * gone)) + 0.01 * (at % 3))


def form(site: Caller, lab: TestRoom, **given: str) -> dict[str, str]:
    """The form for the whole night."""
    page = site.get("/rehearsal?tank=t1").text
    said = {"csrf": csrf_of(page), "tank": "t1", "quantity": "oxygen"}
    return said | dict(re.findall(r'name="(start|end)" value="([^"]+)"', page)) | given


def answer(site: Caller, address: str) -> str:
    """The page once it is over."""
    limit_s = time.monotonic() + WAIT_S
    while time.monotonic() < limit_s:
        page = site.get(address).text
        if "http-equiv" not in page:
            return page
        time.sleep(0.1)
    raise AssertionError(page)


def test_a_limit_is_moved_and_the_alerts_change(lab: TestRoom, site: Caller) -> None:
    """As now: what the live service raised. With a higher limit: earlier. The database is as it was."""
    night(lab)
    lab.now_ms += 60_000
    live = [one for one in lab.service.read.alerts(None) if one.kind is AlertKind.LOW_OXYGEN]
    counted = {name: len(lab.service.store.state.all(name)) for name in ("tank", "probe", "care")}
    sent = site.post("/rehearsal", data=form(site, lab, tolerable_low="5,9", on_delay_s="60"))
    assert sent.status_code == 303, sent.text
    page = answer(site, sent.headers["location"])
    assert "As it is now: 1 alert" in page
    told = re.findall(r'class="told">([^<]+)', page)
    assert told == ["As it is now: 1 alert. With oxygen tolerable low 5.9 mg/L, on delay 60 s: 1 alert."]
    raised = re.findall(r'<time datetime="([^"]+)"', page[page.index("pairs") :])
    moved_at, now_at = sorted(raised[:2])
    from datetime import datetime

    assert round(datetime.fromisoformat(now_at).timestamp()) == live[0].raised_ms // 1000
    assert moved_at < now_at
    assert live[0].text in page
    assert 'href="/care/warm-water?quantity=oxygen&amp;tolerable_low=5.9&amp;on_delay_s=60&amp;tank=t1#change"' in page
    assert len(lab.service.read.alerts(None)) == len(live)
    assert counted == {name: len(lab.service.store.state.all(name)) for name in ("tank", "probe", "care")}
    care = site.get("/care/warm-water?quantity=oxygen&tolerable_low=5.9&tank=t1").text
    assert 'name="tolerable_low" inputmode="decimal" maxlength="20" autocomplete="off" value="5.9"' in care
    chart = site.get(f"{sent.headers['location']}/figure?tank=t1&look=dark").json()
    assert [trace["name"] for trace in chart["data"] if trace["name"] in ("as now", "moved")] == ["as now", "moved"]
    assert any("tolerable low, moved" in note["text"] for note in chart["layout"]["annotations"])


def test_one_at_a_time_and_it_can_be_stopped(lab: TestRoom, site: Caller) -> None:
    """A second one is told of the first; a stopped one says so."""
    night(lab, 60)
    first = site.post("/rehearsal", data=form(site, lab, tolerable_low="5.9"))
    second = site.post("/rehearsal", data=form(site, lab, tolerable_low="5.8"))
    place = first.headers["location"]
    if not lab.service.rehearsals.one(1).over:
        assert (second.status_code, "another rehearsal is at work" in second.text) == (422, True)
        site.post(f"{place}/stop", data={"csrf": csrf_of(site.get("/rehearsal").text)})
        assert "it was stopped" in site.get(place).text
    lab.service.rehearsals.close()


def test_rubbish_is_refused_in_words(lab: TestRoom, site: Caller) -> None:
    """What was typed stays."""
    night(lab, 3)
    for wrong, words in (
        ({"tolerable_low": "warm"}, "is no number"),
        ({}, "move a number"),
        ({"tolerable_low": "99"}, "above"),
        ({"tolerable_low": "5", "tank": "t9"}, "there is no tank"),
        ({"tolerable_low": "5", "quantity": "colour"}, "choose a quantity"),
        ({"tolerable_low": "5", "start": "yesterday"}, "is not a date"),
        ({"tolerable_low": "5", "start": "2030-01-01T00:00"}, "must lie before"),
        ({"tolerable_low": "5", "start": "2001-01-01T00:00"}, "longer than a year"),
        ({"tolerable_low": "5", "end": "2026-09-20T00:00", "start": "2026-09-19T00:00"}, "no readings in that time"),
    ):
        sent = site.post("/rehearsal", data=form(site, lab, **wrong))
        assert (sent.status_code, words in sent.text) == (422, True), (wrong, sent.text)
    assert site.get("/rehearsal/77").status_code == 404
    assert site.get("/rehearsal?tank=%3Cb%3E&quantity=x&start=%00").status_code == 200
