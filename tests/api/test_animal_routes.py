"""The JSON routes of animals and events: bodies other programs rely on, and every refusal as a problem body."""

from __future__ import annotations

import json
from base64 import b64encode
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from api.app import create_api
from api.domain.husbandry import EventKind
from tests.dashboard.caller import Caller
from tests.support.rooms import NOW_MS, TestRoom, room

PNG = b"\x89PNG\r\n\x1a\n" + b"\0" * 20


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks."""
    with room(tmp_path) as one:
        yield one


@pytest.fixture
def site(lab: TestRoom) -> Iterator[Caller]:
    """The JSON side alone."""
    with Caller(create_api(lab.service)) as made:
        yield made


def post(site: Caller, path: str, **body: Any) -> httpx.Response:
    """A JSON body to a route."""
    content = json.dumps(body)
    return site.post(f"/api/v1{path}", content=content, headers={"content-type": "application/json"})


def ada(site: Caller) -> int:
    """An animal."""
    body = {"name": "Ada", "species": "Procambarus virginalis", "sex": "female", "tank": "t1", "person": "Aki"}
    answer = post(site, "/animals", **body, carapace_mm=21.5, limbs={"left_chela": "lost"})
    assert answer.status_code == 201
    return int(answer.json()["id"])


def test_an_animal_in_and_out(site: Caller) -> None:
    """All that was said, and what it adds up to."""
    number = ada(site)
    assert post(site, "/animals", name="=Bo", person="Aki").json()["remarks"][0].startswith("No species is given")
    body = site.get(f"/api/v1/animals/{number}").json()
    assert {key: body[key] for key in ("name", "sex", "tank", "stage", "carapace_mm", "alive", "photograph")} == {
        "name": "Ada", "sex": "female", "tank": "t1", "stage": "hard", "carapace_mm": 21.5, "alive": True,
        "photograph": None,
    }  # fmt: skip
    assert (body["limbs"]["left_chela"], body["limbs"]["right_chela"]) == ("lost", "present")
    assert body["tanks"] == [{"tank": "t1", "since": "2026-09-21T14:13:20.000Z", "until": None}]
    changed = post(site, f"/animals/{number}", person="Noor", sex_how="pleopods", carapace_mm=22.0).json()
    assert (changed["sex_how"], changed["species"], changed["carapace_mm"]) == (
        "pleopods",
        "Procambarus virginalis",
        22.0,
    )
    assert post(site, f"/animals/{number}", person="Noor", carapace_mm=20.0).status_code == 409
    assert post(site, f"/animals/{number}", person="Noor", carapace_mm=20.0, confirm=True).status_code == 200
    assert [one["name"] for one in site.get("/api/v1/animals").json()] == ["Ada", "=Bo"]
    text = site.get("/api/v1/animals.csv")
    assert text.headers["content-type"] == "text/csv; charset=utf-8"
    assert text.text.splitlines()[2].startswith("'=Bo,")
    again = post(site, "/animals/import", csv=text.text + "Cy,,x\r\n", person="Aki").json()
    assert (again["same"], again["entered"]) == (2, 0)
    assert again["faults"] == [{"line": 4, "reason": "sex 'x' is not female, male or unknown"}]


def test_an_event_in_corrected_and_withdrawn(site: Caller, lab: TestRoom) -> None:
    """With reminders after a molt; filters by tank, animal, kind and time; nothing disappears."""
    number = ada(site)
    molt = post(site, "/events", kind="molt", animal=number, person="Aki", time="2026-09-21T10:00:00+02:00").json()
    assert molt["reminders"][0].startswith("Leave the exuvia in")
    assert (molt["time"], molt["tank"]) == ("2026-09-21T08:00:00.000Z", None)
    right = post(site, "/events", kind="molt", animal=number, person="Noor", replaces=molt["id"]).json()
    assert right["replaces"] == molt["id"]
    gone = post(site, f"/events/{right['id']}/withdraw", person="Noor").json()
    assert (gone["withdrawn_by"], gone["withdrawn"]) == ("Noor", "2026-09-21T14:13:20.000Z")
    value = {"quantity": "nitrite", "value": 0.1, "unit": "mg/L NO2"}
    tested = post(site, "/events", kind="tested", tank="t2", person="Aki", tested=[value]).json()["tested"][0]
    # 14.007 / 46.005 g/mol
    assert tested["value"] == pytest.approx(0.1 * 14.007 / 46.005, rel=1e-3)
    assert (tested["said"], tested["unit"]) == (0.1, "mg/L NO2")

    def get(query: str) -> list[str]:
        return [one["kind"] for one in site.get(f"/api/v1/events?{query}").json()]

    assert get("") == ["tested", "molt", "limb_lost", "measured", "moved", "molt"]
    assert get("tank=t2") == ["tested"]
    assert get(f"animal={number}&kind=molt&standing=true") == ["molt"]
    assert get("to=2026-09-21T09:00:00Z") == ["molt"]
    assert get("from=2026-09-21T14:00:00Z&kind=tested&kind=moved") == ["tested", "moved"]
    assert get("most=1") == ["tested"]
    assert len(site.get("/api/v1/events.csv?kind=molt").text.splitlines()) == 3
    assert site.get(f"/api/v1/events/{gone['id']}").json() == gone
    assert lab.service.lives.get(number).last_molt is not None


@pytest.mark.parametrize(
    ("path", "body", "status", "words"),
    [
        ("/events", {"kind": "molt", "animal": 1}, 422, "person"),
        ("/events", {"kind": "moult", "animal": 1, "person": "Aki"}, 422, "kind"),
        ("/events", {"kind": "molt", "animal": 9, "person": "Aki"}, 404, "no animal 9"),
        ("/events", {"kind": "molt", "animal": 2**70, "person": "Aki"}, 422, "animal"),
        ("/events", {"kind": "fed", "tank": "t9", "person": "Aki"}, 404, "no tank 't9'"),
        ("/events", {"kind": "fed", "tank": "t1", "person": " "}, 422, "give a name"),
        ("/events", {"kind": "fed", "tank": "t1", "person": "Aki", "grams": 2}, 422, "grams"),
        ("/events", {"kind": "fed", "tank": "t1", "person": "Aki", "time": "2026-09-21T10:00"}, 422, "no zone"),
        (
            "/events",
            {"kind": "fed", "tank": "t1", "person": "Aki", "time": "2027-01-01T10:00:00Z"},
            422,
            "not come yet",
        ),
        ("/events", {"kind": "fed", "tank": "t1", "person": "Aki", "replaces": 77}, 404, "no event 77"),
        (
            "/events",
            {"kind": "tested", "tank": "t1", "person": "Aki", "tested": [{"quantity": "ph", "value": 7, "unit": "kg"}]},
            422,
            "unit 'kg'",
        ),
        ("/events/77/withdraw", {"person": "Aki"}, 404, "no event 77"),
        ("/animals", {"person": "Aki"}, 422, "name"),
        ("/animals", {"name": "A", "person": "Aki", "hatched": "March"}, 422, "hatched"),
        ("/animals", {"name": "ADA", "person": "Aki"}, 422, "already"),
        ("/animals/9", {"person": "Aki", "note": "x"}, 404, "no animal 9"),
        ("/animals/import", {"csv": "", "person": "Aki"}, 422, "empty"),
        ("/animals/1/photograph", {"content": "no base64!", "person": "Aki"}, 422, "base64"),
        ("/animals/1/photograph", {"content": b64encode(b"<html>").decode(), "person": "Aki"}, 422, "no JPEG"),
        ("/animals/9/photograph", {"content": b64encode(PNG).decode(), "person": "Aki"}, 404, "no animal 9"),
    ],
)
def test_refusals_are_problem_bodies(site: Caller, path: str, body: dict[str, Any], status: int, words: str) -> None:
    """With what to do, and nothing kept."""
    ada(site)
    before = site.get("/api/v1/events").json()
    answer = post(site, path, **body)
    assert (answer.status_code, answer.headers["content-type"]) == (status, "application/problem+json")
    assert words in answer.json()["detail"]
    assert site.get("/api/v1/events").json() == before


def test_numbers_that_are_none(site: Caller) -> None:
    """JSON may hold NaN and numbers without end; neither is a length."""
    for number in ("NaN", "Infinity", "1e400"):
        body = json.dumps({"name": "A", "person": "Aki", "carapace_mm": 0}).replace(": 0", f": {number}")
        answer = site.post("/api/v1/animals", content=body, headers={"content-type": "application/json"})
        assert answer.status_code == 422
    assert site.get("/api/v1/animals").json() == []


def test_a_photograph_is_served_as_nothing_but_a_picture(site: Caller) -> None:
    """By its content, whatever it was called."""
    number = ada(site)
    assert site.get(f"/api/v1/animals/{number}/photograph").status_code == 404
    assert post(site, f"/animals/{number}/photograph", content=b64encode(PNG).decode(), person="Aki").status_code == 201
    answer = site.get(f"/api/v1/animals/{number}/photograph")
    assert (answer.content, answer.headers["content-type"]) == (PNG, "image/png")
    assert "sandbox" in answer.headers["content-security-policy"]
    assert site.get(f"/api/v1/animals/{number}").json()["photograph"].endswith(f"/{number}/photograph")


def test_a_soft_animal_stands_with_its_tank(site: Caller) -> None:
    """The tank's own body says who is soft and until when."""
    number = ada(site)
    post(site, "/events", kind="molt", animal=number, person="Aki")
    soft = site.get("/api/v1/tanks/t1").json()["soft"]
    assert [(one["animal"], one["stage"], one["soft_until"]) for one in soft] == [
        (number, "soft", "2026-09-25T14:13:20.000Z")
    ]
    assert NOW_MS == 1_790_000_000_000


ODD = some.one_of(
    some.none(), some.booleans(), some.integers(), some.floats(), some.text(some.characters()), some.just("2026-09-01"),
    some.sampled_from(["1", "t1", "molt", "left_chela", "2026-09-21T10:00:00Z", "=1", "\ud800"]),
    some.lists(some.integers(), max_size=2), some.dictionaries(some.text(max_size=3), some.integers(), max_size=2),
)  # fmt: skip
FIELDS = ("time", "since", "tank", "animal", "signs", "limb", "carapace_mm", "mass_g", "tested", "percent", "what",
          "note", "replaces", "confirm", "name", "species", "hatched", "arrived", "measured", "limbs")  # fmt: skip


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    kind=some.sampled_from(EventKind), fields=some.dictionaries(some.sampled_from(FIELDS), ODD, max_size=5),
    path=some.sampled_from(["/events", "/animals", "/animals/1"]),
)  # fmt: skip
def test_odd_bodies_never_break_anything(site: Caller, kind: EventKind, fields: dict[str, Any], path: str) -> None:
    """Whatever stands in a field, the answer is kept or a reason, and what is kept can be asked for again."""
    body = {"kind": kind, "person": "Aki", **fields} if path == "/events" else {"person": "Aki", **fields}
    answer = post(site, path, **body)
    assert answer.status_code in (200, 201, 404, 409, 422), answer.text
    for asked in ("/events", "/events.csv", "/animals", "/animals.csv"):
        assert site.get(f"/api/v1{asked}").status_code == 200
