"""Answering by the link in a message, on the real service and all of its web safety, with a password set."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.app import create_api
from api.keepers_command import keepers_command
from api.services.links import Links
from dashboard.app import join
from tests.dashboard.caller import Caller
from tests.support.reach_room import SITE, ReachRoom, reach_room

BAD = {"p1": 2.5, "p2": 95.0}
WELL = {"p1": 7.5, "p2": 95.0}


@pytest.fixture
def tanks(tmp_path: Path) -> Iterator[ReachRoom]:
    """02:00, oxygen in danger, Ana's phone has just rung; the pages are closed to strangers."""
    with reach_room(tmp_path, at="2026-09-21T02:00") as made:
        keepers_command(made.folder / "data", "password", "Ana", lambda: "nine lanterns")
        while not made.by.sent:
            made.turn(1, BAD)
        yield made


@pytest.fixture
def phone(tanks: ReachRoom) -> Iterator[Caller]:
    """A phone's browser that never signed in and keeps no cookies."""
    app = join(create_api(tanks.service), tanks.service)
    with Caller(app, accept="text/html") as made:
        yield made


def link(tanks: ReachRoom) -> str:
    """The path of the newest message's link."""
    found = re.search(rf"{SITE}(/a/\S+)", tanks.by.sent[-1][2])
    assert found is not None
    return found.group(1)


def answer(phone: Caller, path: str, **form: str) -> str:
    """Press a button; the page that comes of it."""
    said = phone.post(path, data=form)
    phone.cookies.clear()
    return phone.get(said.headers["location"]).text if said.status_code == 303 else said.text


def state(tanks: ReachRoom) -> str:
    """The alert's state."""
    return tanks.service.read.alert(1).state


def test_opening_changes_nothing(tanks: ReachRoom, phone: Caller) -> None:
    """A preview, or ten: the alert still calls, the ladder climbs; the rest of the site stays closed."""
    path = link(tanks)
    for method in ("GET", "HEAD", "OPTIONS") * 4:
        phone.request(method, path)
    page = phone.get(path)
    assert page.status_code == 200
    for words in ("t1: low oxygen", "2.5 mg/L", "I am going", "Cannot go, next person", "Known, leave it until"):
        assert words in page.text
    assert 'value="07:00"' in page.text
    assert page.headers["cache-control"] == "no-store"
    assert state(tanks) == "unacknowledged"
    tanks.turn(5, BAD)
    assert [name for name, _ in tanks.told()] == ["ana-phone", "ana-phone", "ana-mail"]
    assert phone.get("/").status_code == 303


def test_going(tanks: ReachRoom, phone: Caller) -> None:
    """One press, no signing in, no cookie: who goes is on record and the ladder rests."""
    page = answer(phone, link(tanks), answer="going")
    assert "You answered at 02:" in page
    assert "I am going" in page
    kept = tanks.service.read.alert(1)
    assert (kept.state, kept.acknowledged_by, kept.note) == ("acknowledged", "Ana", "I am going")
    tanks.told()
    tanks.turn(44, BAD)
    assert tanks.told() == []


def test_cannot_go(tanks: ReachRoom, phone: Caller) -> None:
    """The next person's phone rings at once; the alert still calls; Ana is left in peace until everyone is told."""
    answer(phone, link(tanks), answer="cannot")
    tanks.told()
    tanks.turn(0.5)
    ((name, _, body),) = tanks.by.sent
    assert name == "ben-phone"
    assert "Ana cannot go." in body
    assert state(tanks) == "unacknowledged"
    tanks.told()
    tanks.turn(15, BAD)
    assert [name for name, _ in tanks.told()] == ["ben-phone", "cleo-phone"]


def test_a_changed_mind(tanks: ReachRoom, phone: Caller) -> None:
    """The page after "I am going" offers the way back; it calls again and the next one is told."""
    page = answer(phone, link(tanks), answer="going")
    again = re.search(r'action="(/a/[^"]+)"', page)
    assert again is not None
    assert "Cannot go after all" in page
    answer(phone, again.group(1), answer="cannot")
    assert state(tanks) == "unacknowledged"
    tanks.told()
    tanks.turn(0.5)
    assert [name for name, _ in tanks.told()] == ["ben-phone"]


@pytest.mark.parametrize(("until", "hours"), [("07:00", 5), ("", 5), ("04:30", 2.5)])
def test_known_until(tanks: ReachRoom, phone: Caller, until: str, hours: float) -> None:
    """Silent until then, past the 45 minutes of a usual acknowledgement; then it is told again."""
    answer(phone, link(tanks), answer="known", until=until)
    assert tanks.service.read.alert(1).note == f"known, left until {until or '07:00'}"
    tanks.told()
    while tanks.clock() < f"Mon 0{2 + int(hours)}:{'30' if hours % 1 else '00'}":
        assert tanks.told() == []
        tanks.turn(2, BAD, 60)
    tanks.turn(1, BAD)
    assert tanks.told()[0] == ("ana-phone", "URGENT t1: low oxygen")


def test_worse_while_it_is_left(tanks: ReachRoom, phone: Caller) -> None:
    """Left because it was low; when it is over, those who were told hear so, and the link says it too."""
    path = link(tanks)
    answer(phone, path, answer="known", until="07:00")
    tanks.told()
    tanks.turn(15, WELL)
    assert tanks.told() == [("ana-phone", "t1: low oxygen is over")]


def test_a_link_is_good_for_one_answer(tanks: ReachRoom, phone: Caller) -> None:
    """Replayed, it says what was answered, shows the alert, and changes nothing."""
    path = link(tanks)
    answer(phone, path, answer="going")
    page = answer(phone, path, answer="cannot")
    assert "This link was used: Ana answered “I am going” at 02:" in page
    assert "t1: low oxygen" in page
    assert "<button" not in page
    assert phone.get(path).status_code == 410
    assert state(tanks) == "acknowledged"


def test_an_expired_link(tanks: ReachRoom, phone: Caller) -> None:
    """After twelve hours it says so, shows the alert, and takes no answer."""
    path = link(tanks)
    tanks.now_ms += 12 * 3_600_000
    page = phone.get(path)
    assert page.status_code == 410
    assert "This link has expired, at 14:" in page.text
    assert "t1: low oxygen" in page.text
    assert "<button" not in page.text
    assert "expired" in answer(phone, path, answer="going")
    assert state(tanks) == "unacknowledged"


def test_hostile_links(tanks: ReachRoom, phone: Caller) -> None:
    """Every single changed character, cut ones, those of another installation or use: nothing is shown or changed."""
    token = link(tanks).removeprefix("/a/")
    other = Links(b"the key of another room", tanks.service.plan).token([1], "Ana", tanks.now_ms)
    spoilt = [token[:n] + ("A" if token[n] != "A" else "B") + token[n + 1 :] for n in range(len(token) - 1)]
    cut = [token[:-1], token[1:], token.split(".")[0], f"{token}x", f"{token}.", "x" * 5000, "a.b.c", other]
    for one in [*spoilt, *cut]:
        said = phone.post(f"/a/{one}", data={"answer": "going", "person": "Mallory"})
        assert said.status_code == 404, one
        assert "2.5 mg/L" not in said.text
    session = phone.get(f"/a/{token}").headers.get("set-cookie", "").split("=", 1)[-1].split(";")[0]
    assert phone.post(f"/a/{session}", data={"answer": "going"}).status_code == 404
    assert state(tanks) == "unacknowledged"


def test_a_link_answers_its_own_alerts_only(tanks: ReachRoom, phone: Caller) -> None:
    """What else a form says about alerts or persons is not listened to."""
    store = tanks.service.store
    row = {
        "subject": "t2/heat//", "tank": "t2", "kind": "heat", "state": "unacknowledged", "priority": "urgent",
        "since_ms": tanks.now_ms, "raised_ms": tanks.now_ms, "text": "t2: hot.", "first_check": "Look.",
    }  # fmt: skip
    other = store.write(lambda: store.state.open_alert(row)).result()
    answer(phone, link(tanks), answer="going", alert=str(other), alerts=str(other), person="Mallory")
    assert tanks.service.read.alert(other).state == "unacknowledged"
    assert tanks.service.read.alert(1).acknowledged_by == "Ana"


def test_another_site_cannot_answer(tanks: ReachRoom, phone: Caller) -> None:
    """A form posted from elsewhere is refused, even with a good link."""
    for headers in ({"origin": "http://evil.example"}, {"sec-fetch-site": "cross-site"}):
        assert phone.post(link(tanks), data={"answer": "going"}, headers=headers).status_code == 403
    assert state(tanks) == "unacknowledged"


@pytest.mark.parametrize("form", [{"answer": ""}, {"answer": "yes"}, {"answer": "known", "until": "noon"}])
def test_answers_that_are_none(tanks: ReachRoom, phone: Caller, form: dict[str, str]) -> None:
    """Told in words; the link is not used up."""
    path = link(tanks)
    assert phone.post(path, data=form).status_code == 422
    assert answer(phone, path, answer="going").count("You answered") == 1


def test_a_link_for_anybody_asks_for_a_name(tmp_path: Path) -> None:
    """A room's own address goes to no person: whoever opens it says who they are."""
    notify = '[[notify]]\nname = "bell"\nurl = "json://bell/"\n'
    with reach_room(tmp_path, notify, at="2026-09-21T02:00") as tanks:
        while not tanks.by.sent:
            tanks.turn(1, BAD)
        with Caller(join(create_api(tanks.service), tanks.service), accept="text/html") as phone:
            path = link(tanks)
            assert 'name="person"' in phone.get(path).text
            assert "Give your name" in answer(phone, path, answer="going")
            assert "Noor" in answer(phone, path, answer="going", person=" Noor ")
        assert tanks.service.read.alert(1).acknowledged_by == "Noor"


def test_somebody_else_has_it(tanks: ReachRoom, phone: Caller) -> None:
    """Ben sees that Ana goes, and may go too; he cannot take it from her by "cannot go"."""
    tanks.turn(15, BAD)
    ana, ben = link_to(tanks, "ana-phone"), link_to(tanks, "ben-phone")
    answer(phone, ana, answer="going")
    page = phone.get(ben).text
    assert "Ana answered at 02:" in page
    assert "I am going too" in page
    answer(phone, ben, answer="cannot")
    assert tanks.service.read.alert(1).acknowledged_by == "Ana"


def link_to(tanks: ReachRoom, name: str) -> str:
    """The path of the newest link one phone got."""
    body = next(body for who, _, body in reversed(tanks.by.sent) if who == name)
    found = re.search(rf"{SITE}(/a/\S+)", body)
    assert found is not None
    return found.group(1)


@pytest.mark.parametrize(
    ("now", "words"),
    [("shelved", "it is shelved"), ("suppressed_by_design", "Nobody is asked to go"), ("normal", "It is over.")],
)
def test_an_alert_that_does_not_call(tanks: ReachRoom, phone: Caller, now: str, words: str) -> None:
    """What rests is not called over, and what is over has no buttons."""
    store = tanks.service.store
    store.write(lambda: store.state.change_alert(1, {"state": now})).result()
    page = phone.get(link(tanks)).text
    assert words in page
    assert "<button" not in page
