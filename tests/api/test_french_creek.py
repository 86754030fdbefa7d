"""Night regression on an excerpt of a real stream record, beside the method as published and the equation itself.

The record and its source: tests/published/french_creek.md.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.stats import linregress

from api.science.exchange import night_regression
from api.science.exchange_fit import Array
from api.science.oxygen import saturation_mg_l
from tests.trials.french_creek import PRESSURE_KPA, columns, main, mean_k20, nights
from tests.trials.french_creek_record import Row, darkness, jumps, read, same_clock

PUBLISHED = Path(__file__).parents[1] / "published"
TAKEOVER, FAULT = PUBLISHED / "french_creek_takeover.csv", PUBLISHED / "french_creek_fault.csv"
EVENINGS = [
    (date(2012, 8, 29), "REZN"),
    (date(2012, 8, 30), "REZN"),
    (date(2012, 9, 1), "TOWN"),
    (date(2012, 9, 2), "TOWN"),
]


@pytest.fixture(scope="module")
def rows() -> list[Row]:
    """Usable readings of the take-over."""
    return read(TAKEOVER)[0]


at = datetime.fromisoformat
"""Local time, as the record has it."""


def dark(rows: list[Row], evening: date) -> list[Row]:
    """Readings of one night."""
    dusk, dawn = darkness(evening)
    return [row for row in rows if dusk <= row.time <= dawn]


def stream_saturation(temperature_c: Array) -> Array:
    """Saturation as the program published with the data has it: Garcia & Gordon 1992 at 523 mmHg, vapour by Antoine."""
    scaled = np.log((298.15 - temperature_c) / (273.15 + temperature_c))
    vapour = 10 ** (8.10765 - 1750.286 / (235 + temperature_c))
    polynomial = np.polyval([3.88767, -0.256847, 4.94457, 4.0501, 3.22014, 2.00907], scaled)
    return np.asarray(np.exp(polynomial) * (523 - vapour) / (760 - vapour) * 1.42905)


def test_what_is_left_out_is_counted() -> None:
    """Counts taken from the files by hand: missing values, doubled times, and values no logger made."""
    usable, left = read(TAKEOVER)
    assert left == {"no value (NA)": 421, "a second row of the same time": 1}
    assert len(usable) == 1382 - 421 - 1
    usable, left = read(FAULT)
    assert left == {"no value (NA)": 287, "more decimals than the loggers have (filled in by someone)": 265}
    assert len(usable) == 649 - 287 - 265
    assert min(row.temperature_c for row in usable) > 9.0


def test_hours_of_dark() -> None:
    """Equinox: midnight at 00:58 (equation of time +7.3 min, 106.3 W, UTC-6), 12 h 9 min of sun, an hour off."""
    dusk, dawn = darkness(date(2012, 9, 22))
    assert abs((dusk + (dawn - dusk) / 2 - at("2012-09-23T00:58")).total_seconds()) < 180
    assert (dawn - dusk).total_seconds() / 3600 == pytest.approx(24 - 12.15 - 1.0, abs=0.1)


def test_saturation_beside_the_published_program(rows: list[Row]) -> None:
    """Another formula, another vapour pressure, the same oxygen within 0.006 mg/L over the record."""
    temperatures_c = np.array([row.temperature_c for row in rows])
    ours = np.array([float(saturation_mg_l(float(each), PRESSURE_KPA)) for each in temperatures_c])
    assert float(np.max(np.abs(ours - stream_saturation(temperatures_c)))) < 0.006


@pytest.mark.parametrize(("evening", "sonde"), EVENINGS)
def test_beside_the_method_as_published(rows: list[Row], evening: date, sonde: str) -> None:
    """Hornberger & Kelly with three readings smoothed into one, by linregress: K and ER within one standard error."""
    night = dark(rows, evening)
    assert {row.sonde for row in night} == {sonde}
    hours, oxygen, _ = (np.array(column) for column in columns(night, PRESSURE_KPA))
    saturation = stream_saturation(np.array([row.temperature_c for row in night]))
    smooth = np.convolve(oxygen, np.ones(3) / 3, mode="valid")
    line = linregress((saturation[1:-1] - smooth)[1:], np.diff(smooth) / np.diff(hours[1:-1]))
    found = night_regression(hours, oxygen, saturation, block_h=0.25)
    assert found.told
    assert abs(found.k_per_h.value - line.slope) < found.k_per_h.se
    assert abs(found.respiration_mg_l_h.value - line.intercept) < found.respiration_mg_l_h.se


@pytest.mark.parametrize(("evening", "sonde"), EVENINGS)
def test_beside_the_equation_itself(rows: list[Row], evening: date, sonde: str) -> None:
    """The curve of dO/dt = K (Os - O) + ER, walked reading by reading and fitted to oxygen: within three errors."""
    hours, oxygen, saturation = (np.array(column) for column in columns(dark(rows, evening), PRESSURE_KPA))

    def walked(_: Array, start: float, k: float, respiration: float) -> Array:
        curve = [start]
        for place in range(1, len(hours)):
            ending = (saturation[place] + saturation[place - 1]) / 2 + respiration / k
            curve.append(ending + (curve[-1] - ending) * np.exp(-k * (hours[place] - hours[place - 1])))
        return np.array(curve)

    (_, k, respiration), _ = curve_fit(walked, hours, oxygen, p0=(oxygen[0], 1.0, -0.8))
    found = night_regression(hours, oxygen, saturation, block_h=0.25)
    assert abs(found.k_per_h.value - k) < 3.0 * found.k_per_h.se
    assert abs(found.respiration_mg_l_h.value - respiration) < 3.0 * found.respiration_mg_l_h.se


def test_blocks_are_what_makes_the_night_tell(rows: list[Row]) -> None:
    """Readings of 0.01 mg/L every five minutes: blocks of a quarter of an hour halve the error and treble r2."""
    hours, oxygen, saturation = columns(dark(rows, date(2012, 9, 2)), PRESSURE_KPA)
    raw = night_regression(hours, oxygen, saturation)
    blocks = night_regression(hours, oxygen, saturation, block_h=0.25)
    assert raw.r2 < 0.3 < 3 * raw.r2 < blocks.r2
    assert blocks.k_per_h.se < 0.6 * raw.k_per_h.se
    assert raw.k_per_h.low < blocks.k_per_h.value < raw.k_per_h.high


def test_the_take_over(rows: list[Row]) -> None:
    """34 h without a reading; the raw step is the time of day, the level in the dark goes on within one point."""
    change = [jump for jump in jumps(rows) if jump.before.sonde != jump.after.sonde]
    assert [(jump.before.sonde, jump.after.sonde) for jump in change] == [("REZN", "TOWN")]
    assert change[0].before.time == at("2012-08-31T02:50")
    assert change[0].after.time == at("2012-09-01T12:55")
    assert change[0].step_mg_l == pytest.approx(8.24 - 7.05)
    pairs = same_clock(rows, change[0])
    assert len(pairs) == 14 * 12
    assert {new.time - old.time for old, new in pairs} == {timedelta(days=2)}
    assert abs(np.mean([new.oxygen_mg_l - old.oxygen_mg_l for old, new in pairs])) < 0.2
    table = nights(rows)
    assert [(night.evening, night.sonde) for night in table] == EVENINGS
    assert abs(table[2].percent - table[1].percent) < 1.0


def test_the_two_loggers_do_not_agree_about_the_rate(rows: list[Row]) -> None:
    """K at 20 Cel: REZN's two nights lie above TOWN's two by more than three errors, at either pressure."""
    apart = []
    for pressure_kpa in (PRESSURE_KPA, 77.5):
        k, se = np.array([night.k20_per_h() for night in nights(rows, pressure_kpa)]).T
        before, after = (np.average(k[pair], weights=se[pair] ** -2) for pair in (slice(0, 2), slice(2, 4)))
        apart.append((before - after) / (1 / np.sum(se[:2] ** -2) + 1 / np.sum(se[2:] ** -2)) ** 0.5)
    assert min(apart) > 3.0
    assert mean_k20(nights(rows), "REZN")[2] == 2


def test_a_faulty_record_tells_no_rate() -> None:
    """The evening cut short is refused in words; with the ruled line left in, the night does not tell K."""
    table = nights(read(FAULT)[0])
    assert [night.evening for night in table] == [date(2012, 9, 5), date(2012, 9, 6)]
    assert table[1].found is None
    assert "3 pairs of neighbouring readings, at least 5 are needed" in table[1].refusal
    lines = [line.split(",") for line in FAULT.read_text(encoding="utf-8").splitlines() if ",9/5/2012,2" in line]
    values = [(float(line[5]), float(line[6])) for line in lines if line[5] != "NA"]
    saturation = [float(saturation_mg_l(temperature_c, PRESSURE_KPA)) for temperature_c, _ in values]
    found = night_regression(np.arange(len(values)) / 12, [oxygen for _, oxygen in values], saturation, block_h=0.25)
    assert not found.told
    assert any("does not tell the exchange rate" in words for words in found.warnings)


def test_the_trial_prints_its_nights(capsys: pytest.CaptureFixture[str]) -> None:
    """The command on the excerpt: four nights, no shared time, the change named, and exit code 0."""
    assert main([str(TAKEOVER)]) == 0
    said = capsys.readouterr().out
    assert [said.count(f"{evening}  {sonde}") for evening, sonde in EVENINGS] == [1, 1, 1, 1]
    assert "times at which both loggers have a reading: 0" in said
    assert "REZN to TOWN  34.08 h: 7.05 to 8.24 mg/L, step +1.190" in said
    assert "421" in said
