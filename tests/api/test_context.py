"""Oxygen in context: the tank's own temperature, the room's pressure and salinity, the worst flag, or why not."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.domain.quantity import Quantity
from api.domain.reading import Flag, KeptReading, RawReading
from tests.support.rooms import ROOM, TestRoom, room

Q = Quantity
MINUTE_MS = 60_000
BAROMETER = """
[[probe]]
id = "baro"
driver = "serial_lines"
port = "/dev/null"
value = [{ quantity = "pressure", unit = "hPa" }]
[[probe]]
id = "p1b"
tank = "t1"
driver = "serial_lines"
port = "/dev/null"
every_s = 60
value = [{ quantity = "temperature", unit = "Cel" }]
"""


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks at 1,600 m, one brackish, a second thermometer in t1 and a barometer in the room."""
    with room(tmp_path) as one:
        text = ROOM.replace("pressure_kpa = 101.325", "altitude_m = 1600").replace(
            'id = "t2"', 'id = "t2"\nsalinity_psu = 5.0'
        )
        (tmp_path / "room.toml").write_text(text + BAROMETER, encoding="utf-8")
        one.restart()
        yield one


def said(lab: TestRoom, probe: str, quantity: Quantity, value: float, unit: str, ago_ms: int = 0) -> None:
    """One reading comes."""
    lab.take(RawReading(probe, quantity, lab.now_ms - ago_ms, value, unit))


def last(lab: TestRoom, probe: str, quantity: Quantity) -> KeptReading:
    """A channel's newest reading."""
    return lab.service.store.revisions.newest(probe, quantity, 2**62, 1)[0]


def test_the_barometer_goes_before_the_altitude(lab: TestRoom) -> None:
    """USGS equations: 7.624 mg/L at 20 C and 640 mmHg, 6.314 at 30 C; the room says where its pressure comes from."""
    for t_c, held_mg_l in ((20.0, 7.624), (30.0, 6.314)):
        lab.now_ms += 5 * 60 * MINUTE_MS
        said(lab, "p1", Q.TEMPERATURE, t_c, "Cel")
        said(lab, "baro", Q.PRESSURE, 640.0 * 1.33322387415, "hPa")
        said(lab, "p1", Q.OXYGEN, held_mg_l, "mg/L")
        assert last(lab, "p1", Q.OXYGEN_SATURATION).value == pytest.approx(100.0, abs=0.02)
    now = lab.service.read.room(lab.now_ms)
    assert (round(now.pressure_kpa, 2), now.pressure_source) == (85.33, "by probe baro")
    lab.now_ms += 4 * 60 * MINUTE_MS
    now = lab.service.read.room(lab.now_ms)
    assert (round(now.pressure_kpa, 1), now.pressure_source) == (83.5, "standard atmosphere at 1600 m")


def test_a_pressure_reduced_to_sea_level_is_suspect_and_not_used(lab: TestRoom) -> None:
    """1013 hPa at 1,600 m: flagged with what to do, and percent stays with the altitude's pressure."""
    said(lab, "p1", Q.TEMPERATURE, 20.0, "Cel")
    said(lab, "baro", Q.PRESSURE, 1013.0, "hPa")
    said(lab, "p1", Q.OXYGEN, 7.0, "mg/L")
    pressure = last(lab, "baro", Q.PRESSURE)
    assert (pressure.flag, "reduced to sea level" in pressure.reason) == (Flag.SUSPECT, True)
    # USGS: 9.092 mg/L at 20 C and 760 mmHg; 835.24 hPa at 1,600 m (standard atmosphere) holds 0.8207 of that
    assert last(lab, "p1", Q.OXYGEN_SATURATION).value == pytest.approx(100 * 7.0 / (9.092 * 0.8202), rel=2e-3)


def test_a_tanks_own_salinity(lab: TestRoom) -> None:
    """USGS DOTABLES: 7.402 mg/L at 20 C, 640 mmHg and 5 permil... here by percent probe at the standard 1,600 m."""
    said(lab, "baro", Q.PRESSURE, 640.0 * 1.33322387415, "hPa")
    said(lab, "p2", Q.TEMPERATURE, 68.0, "[degF]")
    said(lab, "p2", Q.OXYGEN_SATURATION, 100.0, "%")
    assert last(lab, "p2", Q.OXYGEN).value == pytest.approx(7.402, abs=0.001)


def test_no_partner_no_value(lab: TestRoom) -> None:
    """Without a temperature, and with one that is too old: missing, with the reason; the oxygen itself is kept."""
    said(lab, "p1", Q.OXYGEN, 7.0, "mg/L")
    derived = last(lab, "p1", Q.OXYGEN_SATURATION)
    assert (derived.value, derived.flag, "no good temperature" in derived.reason) == (None, Flag.MISSING, True)
    said(lab, "p1", Q.TEMPERATURE, 20.0, "Cel")
    lab.now_ms += 16 * MINUTE_MS
    said(lab, "p1", Q.OXYGEN, 7.0, "mg/L")
    assert last(lab, "p1", Q.OXYGEN_SATURATION).value is None
    said(lab, "p1b", Q.TEMPERATURE, 20.0, "Cel")
    lab.now_ms += MINUTE_MS
    said(lab, "p1", Q.OXYGEN, 7.0, "mg/L")
    assert last(lab, "p1", Q.OXYGEN_SATURATION).value is not None  # the other thermometer of the same tank


def test_the_worst_flag_of_the_inputs(lab: TestRoom) -> None:
    """A failed temperature is no partner; a suspect one gives a suspect value; failed oxygen fails in both."""
    said(lab, "p1", Q.TEMPERATURE, -127.0, "Cel")
    said(lab, "p1", Q.OXYGEN, 7.0, "mg/L")
    assert last(lab, "p1", Q.OXYGEN_SATURATION).flag is Flag.MISSING
    lab.now_ms += 20 * MINUTE_MS
    said(lab, "p1", Q.TEMPERATURE, 0.3, "Cel")
    said(lab, "p1", Q.OXYGEN, 7.0, "mg/L")
    derived = last(lab, "p1", Q.OXYGEN_SATURATION)
    assert (derived.flag, derived.value is not None) == (Flag.SUSPECT, True)
    lab.now_ms += 20 * MINUTE_MS
    said(lab, "p1", Q.TEMPERATURE, 20.0, "Cel")
    said(lab, "p1", Q.OXYGEN, 90.0, "mg/L")
    assert (last(lab, "p1", Q.OXYGEN).flag, last(lab, "p1", Q.OXYGEN_SATURATION).flag) == (Flag.FAIL, Flag.FAIL)


def test_a_probe_that_changes_its_unit(lab: TestRoom) -> None:
    """Declared: suspect, told. Not declared: 25 C that becomes 77 is seen for what it is."""
    for n in range(10):
        lab.minute(7.0, 25.0 + 0.02 * (n % 3))
    said(lab, "p1", Q.TEMPERATURE, 77.0, "[degF]")
    reading = last(lab, "p1", Q.TEMPERATURE)
    assert reading.flag is Flag.NOT_EVALUATED or reading.flag is Flag.SUSPECT
    lab.now_ms += MINUTE_MS
    said(lab, "p1", Q.TEMPERATURE, 77.1, "[degF]")
    reading = last(lab, "p1", Q.TEMPERATURE)
    assert (reading.flag, "has it been changed" in reading.reason) == (Flag.SUSPECT, True)
    lab.now_ms += MINUTE_MS
    said(lab, "p1b", Q.TEMPERATURE, 25.0, "Cel")
    lab.now_ms += MINUTE_MS
    said(lab, "p1b", Q.TEMPERATURE, 77.0, "Cel")
    reading = last(lab, "p1b", Q.TEMPERATURE)
    assert reading.flag >= Flag.SUSPECT
    assert "changed its unit" in reading.reason


def test_nothing_of_it_ends_the_pack(lab: TestRoom) -> None:
    """pH 15, 600 %, oxygen far below zero, a unit nobody knows: each is kept with its flag, and the rest goes on."""
    odd = [
        RawReading("x", Q.PH, lab.now_ms, 15.0, "pH"),
        RawReading("x", Q.OXYGEN_SATURATION, lab.now_ms, 600.0, "%"),
        RawReading("x", Q.OXYGEN, lab.now_ms, -4.0, "mg/L"),
        RawReading("x", Q.TEMPERATURE, lab.now_ms, 25.0, "furlong"),
        RawReading("x", Q.HARDNESS, lab.now_ms, 9.0, "dGH"),
    ]
    assert lab.take(*odd).accepted == 5
    assert [last(lab, "x", one.quantity).flag for one in odd[:4]] == [Flag.FAIL] * 4
    assert last(lab, "x", Q.HARDNESS).value == pytest.approx(9 * 17.848, abs=0.01)


def test_two_probes_of_one_tank(lab: TestRoom) -> None:
    """A thermometer that moves alone is suspect; when the one beside it moves too, at the same moment, it was water."""
    for n in range(40):
        lab.now_ms += MINUTE_MS
        warm = 25.0 + 0.02 * (n % 3)
        beside = warm if n < 25 else warm - 0.9 * (n - 24) if n < 28 else warm - 2.7
        lab.take(
            RawReading("p1b", Q.TEMPERATURE, lab.now_ms, beside, "Cel"),
            RawReading("p1", Q.TEMPERATURE, lab.now_ms, warm, "Cel"),
        )
    rows = lab.service.store.revisions.rows("p1b", Q.TEMPERATURE, 0, 2**62)
    alone = [row for row in rows if "beside" in row.reason and row.flag is Flag.SUSPECT]
    assert len(alone) >= 2
    assert not [row for row in lab.service.store.revisions.rows("p1", Q.TEMPERATURE, 0, 2**62) if row.flag >= 3]
