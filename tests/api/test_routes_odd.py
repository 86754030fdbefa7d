"""Odd requests to the JSON routes: told in a problem body (RFC 9457), never a crash, and nothing spoilt for later."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from api.web.readings import MOST_RECORDS
from tests.api.test_routes import call
from tests.support.rooms import NOW_MS, TestRoom, room

GOOD = {"n": "p1/temperature", "u": "Cel", "v": 25.0, "t": NOW_MS / 1000}
TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z\Z")


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks."""
    with room(tmp_path) as one:
        yield one


def post(lab: TestRoom, *records: Any) -> dict[str, Any]:
    """A pack that is taken item by item."""
    answer = call(lab, "POST", "/api/v1/readings", json.dumps(records).encode())
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


@pytest.mark.parametrize(
    "odd",
    [
        {"t": 1e308}, {"t": -1e308}, {"t": 1e300}, {"t": 0}, {"t": -1e9}, {"v": 1e308}, {"v": 10**400}, {"u": "\ud800"},
        {"u": "Cel\x00"}, {"n": "\ud800/temperature"}, {"bt": 1e308},
        {"bv": 1.7e308, "v": 1.7e308}, {"v": float("nan")},
    ],
)  # fmt: skip
def test_one_odd_record_never_blocks_the_pack(lab: TestRoom, odd: dict[str, Any]) -> None:
    """Whatever it is, the good one beside it is kept, and the room can still be read."""
    body = post(lab, GOOD, {**GOOD, "n": "p1/nitrate", "u": "mg/L", **odd})
    assert body["accepted"] + len(body["refused"]) == 2
    assert [one["index"] for one in body["refused"]] in ([], [1])
    for path in ("/api/v1/tanks", "/metrics", "/api/v1/tanks/t1/series?quantity=nitrate"):
        assert call(lab, "GET", path).status_code == 200
    series = call(lab, "GET", "/api/v1/tanks/t1/series?quantity=temperature&unit=[degF]")
    assert series.status_code == 200


def test_extreme_sums_do_not_stop_the_line(lab: TestRoom) -> None:
    """Two enormous values of each sign once added up to no number at all, and no later pack was taken."""
    for sign, at_s in ((1, -10), (-1, -5), (1, -2)):
        post(lab, *({"n": "p1/nitrate", "u": "mg/L", "v": sign * 1.7e308, "t": at_s - n} for n in (0, 1)))
    assert post(lab, GOOD)["accepted"] == 1


def test_too_many_records(lab: TestRoom) -> None:
    """413 says how many are taken at once; the largest pack is taken."""
    records = [{**GOOD, "t": NOW_MS / 1000 - n} for n in range(MOST_RECORDS + 1)]
    answer = call(lab, "POST", "/api/v1/readings", json.dumps(records).encode())
    assert (answer.status_code, answer.headers["content-type"]) == (413, "application/problem+json")
    assert f"at most {MOST_RECORDS}" in answer.json()["detail"]
    assert post(lab, *records[:-1])["accepted"] == MOST_RECORDS


@pytest.mark.parametrize(
    ("method", "path", "content", "status"),
    [
        ("GET", "/api/v1/tanks/none/series?quantity=oxygen", None, 404),
        ("GET", "/api/v1/tanks/t1/series?quantity=warmth", None, 422),
        ("GET", "/api/v1/tanks/t1/series", None, 422),
        ("GET", "/api/v1/tanks/t1/series?quantity=oxygen&points=1000000", None, 422),
        ("GET", "/api/v1/tanks/t1/series?quantity=oxygen&unit=furlong", None, 422),
        ("GET", "/api/v1/tanks/t1/series?quantity=oxygen&start=yesterday", None, 422),
        ("GET", "/api/v1/tanks/t1/series?quantity=oxygen&start=2026-09-01T00:00:00", None, 422),
        ("GET", "/api/v1/tanks/t1/series?quantity=oxygen&start=0001-01-01T00:00:00%2B02:00", None, 422),
        ("GET", "/api/v1/tanks/t1/series?quantity=oxygen&end=0001-01-01T00:00:00Z", None, 422),
        ("GET", "/api/v1/tanks/t1/series?quantity=oxygen&start=9999-12-31T23:59:59Z", None, 422),
        ("GET", "/api/v1/alerts/99999999999999999999999", None, 422),
        ("GET", "/api/v1/alerts/0", None, 422),
        ("GET", "/api/v1/alerts/7", None, 404),
        ("POST", "/api/v1/alerts/99999999999999999999999/acknowledge", b'{"person": "K"}', 422),
        ("POST", "/api/v1/alerts/1/acknowledge", b'{"person": 5}', 422),
        ("POST", "/api/v1/alerts/1/acknowledge", b"rubbish", 422),
        ("POST", "/api/v1/tanks", b'{"id": "../x", "name": "X"}', 422),
        ("POST", "/api/v1/tanks", b'{"id": "x", "name": " "}', 422),
        ("POST", "/api/v1/tanks", b'{"id": "x", "name": "X", "volume_l": NaN}', 422),
        ("POST", "/api/v1/tanks", b'{"id": "x", "name": "X", "volume_l": -1}', 422),
        ("POST", "/api/v1/tanks", b'{"id": "x", "name": "X", "care": "none"}', 422),
        ("POST", "/api/v1/tanks", b'{"id": "x", "name": "\\ud800"}', 422),
        ("PUT", "/api/v1/collectors/lab", b"rubbish", 400),
        ("PUT", "/api/v1/collectors/lab", b'{"spool": {"waiting": -1}, "ports": []}', 400),
        ("PUT", "/api/v1/collectors/..%2Fx", b"{}", 404),
        ("DELETE", "/api/v1/tanks", None, 405),
        ("GET", "/api/v1/nothing", None, 404),
    ],
)
def test_a_wrong_request_is_told(lab: TestRoom, method: str, path: str, content: bytes | None, status: int) -> None:
    """Status, problem body, and a detail that is not empty; the room goes on."""
    answer = call(lab, method, path, content)
    assert (answer.status_code, answer.headers["content-type"]) == (status, "application/problem+json"), answer.text
    body = answer.json()
    assert body["status"] == status
    assert len(body["detail"]) > 5
    assert call(lab, "GET", "/api/v1/tanks").status_code == 200


def test_times_are_rfc_3339(lab: TestRoom) -> None:
    """Every time in an answer, and the series takes the times it gives."""
    lab.minute(7.0)
    lab.now_ms += 1
    body = call(lab, "GET", "/api/v1/tanks/t1/series?quantity=oxygen").json()
    assert all(TIME.match(text) for text in (body["start"], body["end"], *body["lines"][0]["time"]))
    again = call(lab, "GET", f"/api/v1/tanks/t1/series?quantity=oxygen&start={body['start']}&end={body['end']}")
    assert again.json() == body
    zone = call(lab, "GET", "/api/v1/tanks/t1/series?quantity=oxygen&end=2026-09-21T15:33:20%2B02:00").json()
    assert zone["end"] == "2026-09-21T13:33:20.000Z"
    tank = call(lab, "GET", "/api/v1/tanks/t1").json()
    assert all(TIME.match(one["time"]) for one in tank["latest"] if one["time"] is not None)


def test_ten_thousand_years_are_a_short_answer(lab: TestRoom) -> None:
    """At most the points asked for."""
    lab.minute(7.0)
    span = "start=0001-01-01T00:00:00Z&end=9999-12-31T23:59:59Z"
    answer = call(lab, "GET", f"/api/v1/tanks/t1/series?quantity=oxygen&{span}")
    assert answer.status_code == 200
    assert len(answer.json()["lines"][0]["time"]) == 1


def test_a_collector_says_how_it_fares(lab: TestRoom) -> None:
    """Kept, shown, and silent after a minute without a word."""
    status = {
        "spool": {"waiting": 3, "dropped": 0, "refused": 1, "trouble": None},
        "ports": [{"probe": "p1", "state": "speaking", "last_reading_ms": NOW_MS, "unreadable": 2, "error": ""}, 5],
    }
    assert call(lab, "PUT", "/api/v1/collectors/lab", json.dumps(status).encode()).status_code == 200
    one = lab.service.read.room(lab.now_ms).collectors[0]
    assert (one.name, one.waiting, one.refused, one.silent, [port.probe for port in one.ports]) == (
        "lab", 3, 1, False, ["p1"],
    )  # fmt: skip
    assert lab.service.read.room(lab.now_ms + 60_001).collectors[0].silent


def test_half_a_character_is_no_name(lab: TestRoom) -> None:
    """A person's name and note go into records that every page shows."""
    for _ in range(15):
        lab.minute(4.5)
    for content in (b'{"person": "\\ud800"}', b'{"person": "K", "note": "\\udfff"}'):
        answer = call(lab, "POST", "/api/v1/alerts/1/acknowledge", content)
        assert answer.status_code == 422
    assert call(lab, "POST", "/api/v1/alerts/1/acknowledge", '{"person": "Zoë 🦞"}'.encode()).status_code == 200
