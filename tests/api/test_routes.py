"""The JSON routes in process: their bodies are fixed contracts that other programs rely on."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from prometheus_client.parser import text_string_to_metric_families

from api.app import create_api
from tests.support.rooms import NOW_MS, TestRoom, room


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks."""
    with room(tmp_path) as one:
        yield one


def call(lab: TestRoom, method: str, path: str, content: bytes | None = None) -> httpx.Response:
    """One call in process."""

    async def work() -> httpx.Response:
        transport = httpx.ASGITransport(create_api(lab.service))
        async with httpx.AsyncClient(transport=transport, base_url="http://localhost") as client:
            headers = {"content-type": "application/json"} if content is not None else {}
            return await client.request(method, path, content=content, headers=headers)

    return asyncio.run(work())


def pack(*values: Any) -> bytes:
    """A pack of temperatures a minute apart, ending now."""
    start_s = NOW_MS / 1000 - 60 * len(values)
    times_s = [start_s + 60 * n for n in range(len(values))]
    records = [{"n": "p1/temperature", "u": "Cel", "v": v, "t": t} for v, t in zip(values, times_s, strict=True)]
    return json.dumps(records).encode()


def pages(lab: TestRoom, most: int) -> None:
    """Let the database grow to so many pages, as a disk would."""
    store = lab.service.store
    store.write(lambda: store.reader().execute(f"PRAGMA max_page_count = {most}").fetchall()).result()


def test_one_bad_item_never_blocks_the_rest(lab: TestRoom) -> None:
    """Answered item by item."""
    answer = call(lab, "POST", "/api/v1/readings", pack(25.0, "ERR", 26.0))
    assert answer.status_code == 200
    body = answer.json()
    assert (body["accepted"], body["duplicate"], [r["index"] for r in body["refused"]]) == (2, 0, [1])
    assert call(lab, "POST", "/api/v1/readings", pack(25.0, "ERR", 26.0)).json()["duplicate"] == 2


@pytest.mark.parametrize("content", [b"", b"{}", b"[]", b"rubbish", b"[" * 100_000, b"\xff\xfe"])
def test_not_senml_is_400_with_a_problem_body(lab: TestRoom, content: bytes) -> None:
    """RFC 9457."""
    answer = call(lab, "POST", "/api/v1/readings", content)
    assert (answer.status_code, answer.headers["content-type"]) == (400, "application/problem+json")
    assert {"type", "title", "status", "detail"} <= answer.json().keys()


def test_not_kept_is_503(lab: TestRoom) -> None:
    """A full disk is told to the sender, nothing is half kept, and later the same pack is taken."""
    pages(lab, 1)
    many = pack(*[20.0 + n / 1000 for n in range(3000)])
    assert call(lab, "POST", "/api/v1/readings", many).status_code == 503
    assert lab.service.store.readings.channels() == []
    pages(lab, 1_000_000)
    assert call(lab, "POST", "/api/v1/readings", many).json()["accepted"] == 3000


def test_series_is_short_and_keeps_its_peaks(lab: TestRoom) -> None:
    """At most the points asked for, however long the span; a short rise is still there; a gap is a gap."""
    values = [25.0] * 2000
    values[1234:1237] = [25.6, 26.2, 25.6]
    call(lab, "POST", "/api/v1/readings", pack(*values))
    lab.now_ms += 6 * 3_600_000
    span = "start=2026-09-01T00:00:00Z&points=300"
    line = call(lab, "GET", f"/api/v1/tanks/t1/series?quantity=temperature&{span}").json()["lines"][0]
    assert len(line["time"]) <= 300
    assert (max(high for high in line["high"] if high is not None), line["span_s"] > 0) == (26.2, True)
    lab.minute(7.0)
    lab.now_ms += 1000
    raw = call(lab, "GET", "/api/v1/tanks/t1/series?quantity=temperature&points=5000").json()["lines"][0]
    assert None in raw["mean"]


def test_alerts_and_acknowledging(lab: TestRoom) -> None:
    """An alert by state, taken by a person, and wrong requests told in problem bodies."""
    for _ in range(15):
        lab.minute(4.5)
    alert = call(lab, "GET", "/api/v1/alerts?state=unacknowledged").json()[0]
    assert (alert["tank"], alert["kind"], alert["raised"][-1]) == ("t1", "low_oxygen", "Z")
    path = f"/api/v1/alerts/{alert['id']}/acknowledge"
    assert call(lab, "POST", path, b'{"person": "  "}').status_code == 422
    taken = call(lab, "POST", path, b'{"person": "Keeper", "note": "going"}').json()
    assert (taken["state"], taken["acknowledged_by"]) == ("acknowledged", "Keeper")
    assert call(lab, "POST", "/api/v1/alerts/999/acknowledge", b'{"person": "K"}').status_code == 404
    assert call(lab, "GET", "/api/v1/alerts?state=odd").status_code == 422
    assert call(lab, "GET", "/api/v1/tanks/none").json()["status"] == 404


def test_tanks_health_and_metrics(lab: TestRoom) -> None:
    """A tank added by the API stays through a restart; health and metrics answer."""
    assert call(lab, "POST", "/api/v1/tanks", b'{"id": "t3", "name": "Three"}').status_code == 201
    lab.restart()
    assert call(lab, "GET", "/api/v1/health").json()["status"] == "well"
    lab.minute(7.0)
    assert call(lab, "GET", "/api/v1/health").status_code == 503  # nobody has watched for a minute
    assert {tank["id"] for tank in call(lab, "GET", "/api/v1/tanks").json()} == {"t1", "t2", "t3"}
    families = {f.name: f for f in text_string_to_metric_families(call(lab, "GET", "/metrics").text)}
    assert {s.labels["quantity"]: s.value for s in families["intermolt_reading_value"].samples}["oxygen"] == 7.0
