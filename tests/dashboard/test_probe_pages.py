"""The probes' pages on the real service: what each says, its calibration log, and forms that are filled in badly."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.app import create_api
from api.domain.quantity import Quantity
from dashboard.app import join
from tests.dashboard.caller import Caller
from tests.dashboard.conftest import csrf_of
from tests.support.rooms import TestRoom, room

AIR = {"quantity": "oxygen", "kind": "air_saturation", "said": "7,60", "temperature_c": "25", "person": "Aki"}


@pytest.fixture
def tanks(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks; p1 has spoken for half an hour."""
    with room(tmp_path) as made:
        for minute in range(30):
            made.minute(7.0 + 0.01 * (minute % 3))
        yield made


@pytest.fixture
def site(tanks: TestRoom) -> Iterator[Caller]:
    """A browser on the whole app."""
    app = join(create_api(tanks.service), tanks.service)
    with Caller(app, accept="text/html") as made:
        yield made


def fill(site: Caller, path: str, **fields: str) -> tuple[int, str]:
    """Send a form as the page would."""
    csrf = csrf_of(site.get("/probe/p1").text)
    answer = site.request("POST", path, data={"csrf": csrf, **fields}, headers={"origin": "http://localhost"})
    return answer.status_code, answer.text


def test_the_list_names_every_probe_and_what_is_due(site: Caller) -> None:
    """Both probes, their tanks, and that they were never compared."""
    page = site.get("/probes").text
    assert page.index('href="/probe/p1"') < page.index('href="/probe/p2"')
    assert page.count("never compared") == 4
    assert "every 30 days is asked for" in page
    assert "7.02 mg/L, at" not in page
    assert "read from a file" not in page


def test_air_saturation_from_the_page(site: Caller, tanks: TestRoom) -> None:
    """A comma in the number, the expected value worked out: USGS table, 8.26 mg/L at 25 C and 760 mmHg."""
    status, _ = fill(site, "/probe/p1/calibrate", **AIR, start="")
    assert status == 303
    tanks.service.again.look()
    tanks.service.again.look()
    page = site.get("/probe/p1").text
    assert "at air saturation" in page
    assert re.search(r"7\.60</td>\s*<td data-label=\"true\">8\.26", page)
    assert "due in 30 days" in page
    figure = site.get("/probe/p1/drift?quantity=oxygen").json()
    assert figure["data"][0]["y"] == [pytest.approx(7.60 - 8.263, abs=0.001)]
    entry = tanks.service.calibrations.entries()[0]
    assert (entry.calibration.temperature_c, entry.calibration.pressure_kpa) == (25.0, 101.325)
    status, _ = fill(site, f"/calibration/{entry.id}/withdraw", probe="p1", person="Noor")
    assert status == 303
    assert "withdrawn by Noor" in site.get("/probe/p1").text


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"said": "about 8"}, "is not a number such as 8.26"),
        ({"said": ""}, "is missing"),
        ({"person": ""}, "give a name"),
        ({"temperature_c": ""}, "depends on temperature"),
        ({"temperature_c": "77"}, "outside"),
        ({"said": "0.4"}, "slope of"),
        ({"said": "1e300"}, "no amount"),
        ({"start": "yesterday"}, "not a date and time"),
        ({"start": "2190-01-01T00:00"}, "not come yet"),
        ({"kind": "offset", "expected": ""}, "the true value is missing"),
        ({"kind": "offset_and_slope", "expected": "8"}, "two pairs"),
        ({"quantity": "ph"}, "oxygen probes"),
    ],
)
def test_a_form_filled_in_badly(site: Caller, tanks: TestRoom, change: dict[str, str], words: str) -> None:
    """422, the page again with what is wrong, and nothing on record."""
    status, page = fill(site, "/probe/p1/calibrate", **{**AIR, **change})
    assert (status, words in page) == (422, True)
    assert tanks.service.calibrations.entries() == []


def test_pages_that_are_not_there(site: Caller) -> None:
    """A probe nobody knows, a quantity it does not measure, a calibration that never was."""
    missing = site.get("/probe/p9")
    assert missing.status_code == 404
    assert "<p>There is no probe &#39;p9&#39;.</p>" in missing.text
    assert site.get("/probe/p1/drift?quantity=ph").status_code == 404
    assert fill(site, "/calibration/7/withdraw", probe="p1", person="Noor")[0] == 404


def test_json_says_the_same(site: Caller, tanks: TestRoom) -> None:
    """The route of other programs: a calibration in, its line and the recalculated probe out."""
    token = (tanks.folder / "data" / "collector.token").read_text(encoding="utf-8").strip()
    head = {"authorization": f"Bearer {token}", "accept": "application/json"}
    body = {"quantity": "temperature", "kind": "offset", "said": 26.0, "expected": 25.8, "person": "Aki"}
    answer = site.request("POST", "/api/v1/probes/p1/calibrations", json=body, headers=head)
    assert answer.status_code == 201
    said = next(one for one in answer.json()["quantities"] if one["quantity"] == str(Quantity.TEMPERATURE))
    assert said["calibrations"][0]["offset"] == pytest.approx(-0.2)
    wrong = site.request("POST", "/api/v1/probes/p1/calibrations", json=body | {"expected": None}, headers=head)
    assert (wrong.status_code, "true value" in wrong.json()["detail"]) == (422, True)
    number = answer.json()["id"]
    path = f"/api/v1/probes/calibrations/{number}/withdraw"
    assert site.request("POST", path, json={"person": "Noor"}, headers=head).status_code == 200
    assert site.request("POST", path, json={"person": "Noor"}, headers=head).status_code == 404
    assert site.get("/api/v1/probes", headers=head).json()[0]["quantities"][0]["calibrations"][0]["withdrawn"]
