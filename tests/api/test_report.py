"""The conditions report beside pandas, on a real stream's record and on noise; its words, CSV, JSON, page, command."""

from __future__ import annotations

import csv
import io
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from api.app import create_api
from api.domain.alert import AlertKind
from api.domain.band import Band
from api.domain.care import WARM_WATER
from api.domain.errors import InputError, NotFound
from api.domain.quantity import Quantity
from api.domain.reading import Flag, RawReading
from api.judge.assess import assess
from api.judge.conditions import conditions, degree_days, means_of, shares
from api.service import Service
from api.services.report import QuantityReport
from api.services.report_words import csv_text, methods
from dashboard.app import join
from tests.dashboard.caller import Caller
from tests.support.french_creek import ROOM, readings
from tests.support.rooms import NOW_MS, Recording, TestRoom, room

DAY_MS = 86_400_000
OXYGEN, WARM = (WARM_WATER.range_of(one) for one in (Quantity.OXYGEN, Quantity.TEMPERATURE))


@pytest.fixture(scope="module")
def creek(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A service that has taken in the real record with a fault in it."""
    folder = tmp_path_factory.mktemp("creek")
    (folder / "room.toml").write_text(ROOM, encoding="utf-8")
    service = Service(folder / "room.toml", folder / "data", Recording(), lambda: NOW_MS)
    taken = list(readings("french_creek_takeover.csv"))
    for at in range(0, len(taken), 500):
        service.ingest.accept(taken[at : at + 500], NOW_MS).result()
    yield service
    service.store.close()
    service.release()


def believed(service: Service, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> pd.Series:
    """Values without a doubt, by time."""
    rows = service.store.revisions.rows(probe, quantity, start_ms, end_ms)
    some = {row.time_ms: row.value for row in rows if row.value is not None and row.flag < Flag.SUSPECT}
    return pd.Series(some.values(), index=pd.to_datetime(list(some), unit="ms", utc=True), dtype=float)


@pytest.mark.parametrize(("days", "span"), [(30, "5min"), (200, "1h")])
def test_a_real_record_beside_pandas(creek: Service, days: int, span: str) -> None:
    """Mean, SD, median, percentiles, extremes, shares, degree-days: pandas on the same readings, resampled."""
    last_ms = max(one.last_ms for one in creek.store.readings.channels())
    end_ms = last_ms - last_ms % DAY_MS + DAY_MS
    start_ms = end_ms - days * DAY_MS
    (tank,) = creek.reports.report(None, start_ms, end_ms, NOW_MS).tanks
    seen = {(one.probe, one.quantity) for one in tank.quantities}
    assert {("REZN", Quantity.OXYGEN), ("TOWN", Quantity.TEMPERATURE)} <= seen
    for one in tank.quantities:
        values = believed(creek, one.probe, one.quantity, start_ms, end_ms)
        spans = values.resample(span).mean().dropna()
        c = one.conditions
        mine = (c.mean, c.sd, c.median, c.p05, c.p95, c.low, c.high)
        theirs = (
            spans.mean(), spans.std(ddof=0), spans.median(), spans.quantile(0.05), spans.quantile(0.95), values.min(),
            values.max(),
        )  # fmt: skip
        assert mine == pytest.approx(theirs, rel=1e-9), one.quantity
        assert one.readings == len(values)
        assert c.known == pytest.approx(len(spans) / ((end_ms - start_ms) / pd.Timedelta(span).total_seconds() / 1000))
        rows = creek.store.revisions.rows(one.probe, one.quantity, start_ms, end_ms)
        assert one.flagged == len(rows) - len(values)
    warm = next(one for one in tank.quantities if one.quantity is Quantity.TEMPERATURE)
    spans = believed(creek, warm.probe, warm.quantity, start_ms, end_ms).resample(span).mean().dropna()
    expected = spans.clip(lower=0.0).sum() * pd.Timedelta(span) / pd.Timedelta("1D")
    assert tank.degree_days == pytest.approx(expected, rel=1e-9)


def test_gaps_are_those_between_spans() -> None:
    """At both ends, between, and nowhere in a whole record."""
    minute = 60_000
    means = means_of([(at * 5 * minute, 7.0, 7.0, 7.0) for at in (2, 3, 7, 8)], 5 * minute)
    found = conditions(means, OXYGEN, 0, 60 * minute)
    told = [(gap.start_ms // minute, gap.end_ms // minute) for gap in found.gaps]
    assert told == [(0, 10), (20, 35), (45, 60)]
    whole = means_of([(at * 5 * minute, 7.0, 7.0, 7.0) for at in range(12)], 5 * minute)
    assert conditions(whole, OXYGEN, 0, 60 * minute).gaps == ()
    assert conditions(means_of([], 5 * minute), OXYGEN, 0, 60 * minute).known == 0.0
    with pytest.raises(ValueError, match="before"):
        conditions(whole, OXYGEN, 5, 5)


def test_shares_are_what_each_span_would_be_called() -> None:
    """Beside asking for every span by itself, limits included."""
    assert WARM is not None
    edges = [WARM.danger_low, WARM.tolerable_low, WARM.target_low, WARM.target_high, WARM.danger_high]
    values = np.concatenate([np.random.default_rng(2).uniform(8.0, 38.0, 800), np.array(edges, float)])
    one_by_one = [assess(float(value), WARM).band for value in values]
    expected = {band: one_by_one.count(band) / len(one_by_one) for band in set(one_by_one)}
    assert shares(values, WARM) == pytest.approx(expected)
    assert degree_days(means_of([(0, 12.0, 12.0, 12.0), (DAY_MS, 40.0, 40.0, 40.0)], DAY_MS), 5.0, 28.0) == 30.0


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks; p1's water goes bad for half an hour, an impossible value is among it, and p2 says nothing."""
    with room(tmp_path) as one:
        for at in range(300):
            one.minute(7.0 + 0.01 * (at % 7) if not 100 <= at < 140 else 4.0, 26.0 + 0.02 * (at % 5))
        one.take(RawReading("p1", Quantity.TEMPERATURE, one.now_ms + 1, 260.0, "Cel"))
        one.now_ms += 60_000
        yield one


def of(tank: tuple[QuantityReport, ...], quantity: Quantity) -> QuantityReport:
    """One quantity."""
    return next(one for one in tank if one.quantity is quantity)


def test_flags_alerts_and_words(lab: TestRoom) -> None:
    """What is flagged is left out and counted; the alert is there with how long it stood; nothing of t2 is invented."""
    made = lab.service.reports.report(None, lab.now_ms - DAY_MS, lab.now_ms, lab.now_ms)
    first, second = made.tanks
    warm = of(first.quantities, Quantity.TEMPERATURE)
    assert warm.flagged >= 1
    assert warm.conditions.high is not None
    assert warm.conditions.high < 27.0
    assert of(first.quantities, Quantity.OXYGEN).conditions.bands[Band.OUTSIDE] > 0.05
    assert [one.kind for one in first.alerts if one.kind is not AlertKind.NOT_KNOWN] == [AlertKind.LOW_OXYGEN]
    assert second.quantities == ()
    assert second.degree_days is None
    words = methods(made)
    assert "t1: temperature 26.04" in words
    assert "degree-days above 0 °C over the known time" in words
    assert "excluded: " in words
    assert "t2" not in words
    rows = list(csv.DictReader(io.StringIO(csv_text(made))))
    assert {row["tank"] for row in rows} == {"t1"}
    assert float(rows[0]["mean"]) == pytest.approx(warm.conditions.mean or 0.0, rel=1e-5)


@pytest.mark.parametrize(
    ("start_d", "end_d", "tanks", "words"),
    [(0, 0, None, "ends after"), (5000, 0, None, "ten years"), (1, 0, ["x"], "no tank 'x'")],
)
def test_times_that_cannot_be_reported(
    lab: TestRoom, start_d: int, end_d: int, tanks: list[str] | None, words: str
) -> None:
    """Said in words."""
    with pytest.raises((InputError, NotFound), match=words):
        lab.service.reports.report(tanks, lab.now_ms - start_d * DAY_MS, lab.now_ms - end_d * DAY_MS, lab.now_ms)


def test_page_routes_and_command_say_the_same(lab: TestRoom) -> None:
    """The mean of oxygen on the page, in the JSON, the CSV and the command's file."""
    oxygen = of(
        lab.service.reports.report(None, lab.now_ms - 14 * DAY_MS, lab.now_ms, lab.now_ms).tanks[0].quantities,
        Quantity.OXYGEN,
    )
    mean = oxygen.conditions.mean or 0.0
    with Caller(join(create_api(lab.service), lab.service), accept="text/html") as site:
        page = site.get("/report").text
        assert "For the methods section" in page
        assert f"<dt>mean</dt><dd>{mean:.1f}</dd>" in page
        assert "Nothing that can be believed" not in page
        assert re.search(r"2026 \d\d:\d\d to \d+ \w+ 2026 \d\d:\d\d, ", page), "printed, it says which day and year"
        assert page.index('href="#tank-2"') < page.index('id="tank-1"'), "a way to each tank stands before the first"
        assert site.get("/report?start=x").status_code == 422
        asked = "start=2026-09-01T00:00:00Z&end=2026-10-01T00:00:00Z&tank=t1"
        told = site.get(f"/api/v1/report?{asked}").json()
        found = next(one for one in told["tanks"][0]["quantities"] if one["quantity"] == "oxygen")
        assert found["mean"] == pytest.approx(mean, abs=0.02)
        assert len(site.get(f"/api/v1/report.csv?{asked}").text.splitlines()) == len(told["tanks"][0]["quantities"]) + 1
    command = [sys.executable, "-m", "api.cli", "review", "--report", "--data", str(lab.folder / "data")]
    command += ["--from", "2026-09-01", "--to", "2026-09-30", "--tanks", "t1"]
    printed = subprocess.run(command, capture_output=True, text=True, check=False)
    assert printed.returncode == 0, printed.stderr
    assert "degree-days above 0 °C" in printed.stdout
    out = lab.folder / "conditions.json"
    done = subprocess.run([*command, "--out", str(out)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert json.loads(out.read_text())["tanks"][0]["tank"] == "t1"
    assert f"{out}: conditions of 1 tank" in done.stdout
    again = subprocess.run([*command, "--out", str(out)], capture_output=True, text=True, check=False)
    assert (again.returncode, "is there already" in again.stderr) == (2, True)
