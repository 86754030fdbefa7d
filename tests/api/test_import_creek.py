"""A real stream's record imported by the page and by the command; the conditions report beside pandas on the file.

The excerpt and its source: tests/published/french_creek.md. INTERMOLT_FRENCH_CREEK may name the whole record instead.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from api.app import create_api
from api.cli import main
from api.domain.import_job import JobState
from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.service import Service
from api.services.report_words import body
from dashboard.app import join
from tests.dashboard.caller import Caller
from tests.dashboard.conftest import csrf_of
from tests.support.french_creek import FOLDER, PRESSURE_KPA
from tests.support.rooms import NOW_MS, Recording

RECORD = Path(os.environ.get("INTERMOLT_FRENCH_CREEK") or FOLDER / "french_creek_takeover.csv")
COLUMNS = {Quantity.TEMPERATURE: "temp", Quantity.OXYGEN: "oxy"}
ANSWERS = {
    "zone": "America/Denver", "unit:temp": "Cel", "unit:oxy": "mg/L", "tank:REZN": "creek", "tank:TOWN": "creek",
}  # fmt: skip
TANK = f"""
[room]
name = "Stream"
zone = "America/Denver"
altitude_m = 3000
pressure_kpa = {PRESSURE_KPA}
[[tank]]
id = "creek"
"""
DAY_MS, HOUR_MS = 86_400_000, 3_600_000


def opened(folder: Path) -> Service:
    """The room of one stream."""
    folder.mkdir(exist_ok=True)
    (folder / "room.toml").write_text(TANK, encoding="utf-8")
    service = Service(folder / "room.toml", folder / "data", Recording(), lambda: NOW_MS)
    service.importing.alone()
    return service


def closed(service: Service) -> None:
    """Let go of it."""
    service.store.close()
    service.release()


def by_page(folder: Path) -> Service:
    """The file sent by the form, its questions answered, started."""
    service = opened(folder)
    with Caller(join(create_api(service), service), accept="text/html") as site:
        token = csrf_of(site.get("/import").text)
        sent = site.post("/import", data={"csrf": token}, files={"file": (RECORD.name, RECORD.read_bytes())})
        place = sent.headers["location"]
        while names := re.findall(r'name="(answer:[^"]+)"', _first_form(site.get(place).text)):
            asked = {unescape(name) for name in names}
            fields = {name: ANSWERS[name.removeprefix("answer:")] for name in asked}
            assert site.post(f"{place}/answers", data={"csrf": token, **fields}).status_code == 303
        assert site.post(f"{place}/start", data={"csrf": token}).status_code == 303
        service.importing.jobs.look()
        assert "Imported." in site.get(place).text
    return service


def _first_form(page: str) -> str:
    """The questions that must be answered."""
    found = re.search(r'<h2 id="asked">.*?</form>', page, re.DOTALL)
    return found.group(0) if found else ""


def by_command(folder: Path) -> Service:
    """The same by ``intermolt import``, no service running."""
    closed(opened(folder))
    options = [part for key, value in ANSWERS.items() for part in ("--answer", f"{key}={value}")]
    place = ["--room", str(folder / "room.toml"), "--data", str(folder / "data")]
    assert main(["import", str(RECORD), *place, *options]) in (0, 1)
    return opened(folder)


@pytest.fixture(scope="module", params=[by_page, by_command], ids=["page", "command"])
def creek(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A service that took the record in."""
    service = request.param(tmp_path_factory.mktemp("creek"))
    yield service
    closed(service)


@pytest.fixture(scope="module")
def record() -> pd.DataFrame:
    """The file as pandas reads it: one row a logger and time, US Mountain daylight time being UTC-6."""
    told = pd.read_csv(RECORD, na_values=["NA"])
    local = pd.to_datetime(told["date"] + " " + told["time"], format="%m/%d/%Y %H:%M:%S")
    told.index = pd.DatetimeIndex(local + pd.Timedelta(hours=6)).tz_localize("UTC")
    return told


def of_file(record: pd.DataFrame, probe: str, quantity: Quantity) -> pd.Series:
    """What the file says in the order of time, first come where a time stands twice; its rows go back once."""
    own = record[record["sonde"] == probe][COLUMNS[quantity]].dropna()
    return own[~own.index.duplicated()].sort_index()


def test_every_cell_is_kept_once(creek: Service, record: pd.DataFrame) -> None:
    """Times and values of each logger, as the file says them."""
    for probe in ("REZN", "TOWN"):
        for quantity in COLUMNS:
            rows = creek.store.revisions.rows(probe, quantity, 0, 2**62)
            told = of_file(record, probe, quantity)
            assert [row.time_ms for row in rows] == (told.index.as_unit("ms").asi8).tolist()
            assert [row.raw_value for row in rows] == told.tolist()
    (job,) = creek.imports.jobs()
    cells = sum(len(of_file(record, probe, quantity)) for probe in ("REZN", "TOWN") for quantity in COLUMNS)
    assert (job.state, job.counts.rows, job.counts.accepted) == (JobState.DONE, len(record), cells)


@pytest.mark.parametrize(("days", "span"), [(14, "5min"), (100, "1h")])
def test_conditions_beside_pandas(creek: Service, record: pd.DataFrame, days: int, span: str) -> None:
    """Mean, SD, median, 5th and 95th percentile, extremes, share of the time known, over spans of equal length."""
    last_ms = int(record.index.as_unit("ms").asi8.max())
    end_ms = last_ms - last_ms % DAY_MS + DAY_MS
    start_ms = end_ms - days * DAY_MS
    (tank,) = creek.reports.report(["creek"], start_ms, end_ms, NOW_MS).tanks
    seen = [one for one in tank.quantities if one.quantity in COLUMNS]
    assert len(seen) >= 2
    for one in seen:
        rows = creek.store.revisions.rows(one.probe, one.quantity, start_ms, end_ms)
        doubted = pd.to_datetime([row.time_ms for row in rows if row.flag >= Flag.SUSPECT], unit="ms", utc=True)
        told = of_file(record, one.probe, one.quantity)
        told = told[(told.index >= pd.Timestamp(start_ms, unit="ms", tz="UTC")) & ~told.index.isin(doubted)]
        spans = told.resample(span).mean().dropna()
        c = one.conditions
        assert (c.mean, c.sd, c.median, c.p05, c.p95, c.low, c.high) == pytest.approx(
            (spans.mean(), spans.std(ddof=0), spans.median(), spans.quantile(0.05), spans.quantile(0.95),
             told.min(), told.max()), rel=1e-9,
        )  # fmt: skip
        assert (one.readings, one.flagged) == (len(told), len(doubted))
        assert c.known == pytest.approx(len(spans) * pd.Timedelta(span) / pd.Timedelta(days=days))


def test_page_and_command_report_the_same(creek: Service, record: pd.DataFrame, tmp_path: Path) -> None:
    """What /report shows and what ``intermolt review --report`` writes are these figures."""
    first, last = (int(one) for one in (record.index.as_unit("ms").asi8.min(), record.index.as_unit("ms").asi8.max()))
    start_ms, end_ms = first - first % HOUR_MS, last - last % HOUR_MS + HOUR_MS
    made = creek.reports.report(["creek"], start_ms, end_ms, NOW_MS)
    with Caller(join(create_api(creek), creek), accept="text/html") as site:
        times = {name: _local(ms) for name, ms in (("start", start_ms), ("end", end_ms))}
        page = site.get("/report", params={"tank": "creek", **times}).text
    for one in made.tanks[0].quantities:
        if one.quantity in COLUMNS:
            told = of_file(record, one.probe, one.quantity)
            assert one.conditions.low is not None
            assert f"<dt>lowest</dt><dd>{one.conditions.low:.1f}</dd>" in page
            assert told.min() <= one.conditions.low
    out = tmp_path / "conditions.json"
    data = creek.importing.drop.path.parent
    place = ["--room", str(data.parent / "room.toml"), "--data", str(data)]
    asked = ["--tanks", "creek", "--from", _local(start_ms), "--to", _local(end_ms), "--out", str(out)]
    assert main(["review", "--report", *place, *asked]) == 0
    assert _figures(json.loads(out.read_text(encoding="utf-8"))) == _figures(body(made))


def _local(time_ms: int) -> str:
    return f"{pd.Timestamp(time_ms, unit='ms', tz='UTC').tz_convert('America/Denver'):%Y-%m-%dT%H:%M}"


def _figures(report: dict[str, Any]) -> Any:
    return json.loads(json.dumps([tank["quantities"] for tank in report["tanks"]]))
