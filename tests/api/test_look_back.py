"""Past intervals beside their water: days, means over the tanks an animal sat in, gain, and the CSV of them."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.app import create_api
from api.domain.husbandry import EventKind
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from dashboard.app import join
from tests.dashboard.caller import Caller
from tests.support.colony import DAY_MS, log, settle
from tests.support.rooms import TestRoom, room

K = EventKind


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Forty days of hourly water: t1 at 24 C and 7 mg/L, t2 at 77 F and 90 %; Ada moves from t1 to t2 halfway."""
    with room(tmp_path) as one:
        end_ms = one.now_ms - one.now_ms % 3_600_000
        for hour in range(40 * 24, 0, -1):
            one.now_ms = end_ms - hour * 3_600_000 + 60_000
            one.take(
                RawReading("p1", Quantity.TEMPERATURE, one.now_ms, 24.0, "Cel"),
                RawReading("p1", Quantity.OXYGEN, one.now_ms, 7.0 if hour % 10 else 5.0, "mg/L"),
                RawReading("p2", Quantity.TEMPERATURE, one.now_ms, 77.0 + 3.6, "[degF]"),
            )
        one.now_ms = end_ms
        animal = settle(one, "Ada", "t1", days_ago=39, carapace_mm=20.0)
        log(one, K.MOLT, animal, days_ago=35)
        log(one, K.MEASURED, animal, days_ago=30, carapace_mm=22.0)
        log(one, K.MOVED, animal, tank="t2", days_ago=20)
        log(one, K.MOLT, animal, days_ago=5)
        log(one, K.MEASURED, animal, days_ago=1, carapace_mm=24.2)
        yield one


def test_an_interval_over_two_tanks(lab: TestRoom) -> None:
    """15 days at 24 C and 15 at 27 C; oxygen of t1 only, one hour in ten at 5 mg/L, below the target of 6."""
    first, second = lab.service.look_back.intervals(lab.now_ms)
    assert (first.interval.ended, second.interval.ended) == (True, False)
    assert first.interval.days == pytest.approx(30.0)
    assert first.temperature.mean == pytest.approx(25.5, abs=0.01)
    kept = first.temperature.kept
    assert kept is not None
    assert (kept.lowest, kept.highest) == pytest.approx((24.0, 27.0))
    assert kept.known == pytest.approx(1.0, abs=0.002)
    air = first.oxygen.kept
    assert air is not None
    assert air.in_target == pytest.approx(0.9, abs=0.005)
    assert air.known == pytest.approx(0.5, abs=0.002)
    assert first.gain == pytest.approx(0.1)
    assert second.gain is None
    assert lab.service.look_back.intervals(lab.now_ms, [99]) == ()


def test_as_csv_and_as_a_page(lab: TestRoom) -> None:
    """The same figures; nothing of another animal."""
    settle(lab, "=cmd", "t1", days_ago=30)
    log(lab, K.MOLT, 2, days_ago=10)
    app = join(create_api(lab.service), lab.service)
    with Caller(app, accept="text/html") as site:
        rows = list(csv.DictReader(io.StringIO(site.get("/api/v1/intervals.csv").text)))
        assert [row["name"] for row in rows] == ["Ada", "Ada", "'=cmd"]
        assert (rows[0]["days"], rows[0]["gain"], rows[0]["ended"]) == ("30", "0.1", "yes")
        assert float(rows[0]["temperature_mean_c"]) == pytest.approx(25.5, abs=0.01)
        assert len(site.get("/api/v1/intervals.csv?animal=2").text.splitlines()) == 2
        page = site.get("/intervals").text
        assert "25.5 (24.0 to 27.0) °C, known for 100 %" in page
        assert "20 to 22 mm" not in page
        assert "22 to 24.2 mm, +10 %" in page
        assert "Intervals and their water" in site.get("/animal/1").text
        figure = site.get("/intervals/figure?of=days").json()
        assert [trace["y"] for trace in figure["data"]] == [[30.0]]
        assert site.get("/intervals/figure?of=x").status_code == 404


def test_an_animal_without_a_tank_has_no_water(lab: TestRoom) -> None:
    """Said as not known, not as nought."""
    number = settle(lab, "Bo", None, days_ago=30)
    log(lab, K.MOLT, number, days_ago=25)
    (one,) = lab.service.look_back.intervals(lab.now_ms, [number])
    assert (one.temperature.mean, one.oxygen.kept) == (None, None)
    assert one.interval.days == pytest.approx(25.0, abs=DAY_MS / 1e12)
