"""Our figures beside published ones; each row of tests/published/water.json names its source."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import gsw
import numpy as np
import pytest

from api.domain.errors import OutOfRange, UnknownUnit
from api.domain.quantity import Quantity
from api.science.oxygen import from_percent_mg_l, percent_saturation, saturation_mg_l, vapour_pressure_kpa
from api.science.pressure import standard_pressure_kpa
from api.science.units import converter, from_canonical

ROWS = json.loads((Path(__file__).parents[1] / "published" / "water.json").read_text(encoding="utf-8"))
KPA_PER_MMHG = 101.325 / 760


def ours(row: dict[str, Any]) -> float:
    """Our figure for a row."""
    given, quantity = row["inputs"], row["quantity"]
    temperature_c = given.get("temperature_degC", 0.0)
    salinity_psu = given.get("salinity_permil", given.get("practical_salinity", 0.0))
    pressure_kpa = given.get("pressure_mmHg", 760) * KPA_PER_MMHG
    if "salinity correction factor" in quantity:
        return saturation_mg_l(temperature_c, 101.325, salinity_psu) / saturation_mg_l(temperature_c)
    if "vapour" in quantity:
        return vapour_pressure_kpa(temperature_c) / 101.325
    if "percent air saturation" in quantity:
        return percent_saturation(given["conc_mg_per_L"], temperature_c, pressure_kpa, salinity_psu)
    if "degF" in quantity:
        return converter(Quantity.TEMPERATURE, "[degF]")(given["temperature_degF"])
    if "Atmosphere" in quantity:
        return standard_pressure_kpa(given["geometric_altitude_m"]) * 10
    return saturation_mg_l(temperature_c, pressure_kpa, salinity_psu)


PRINTED_ONLY = {
    "F2C_75": "printed to five decimals with a tolerance of 1e-6, closer than its own rounding",
    "F2C_85": "printed to five decimals with a tolerance of 1e-6, closer than its own rounding",
}
"""Rows whose tolerance no exact figure can meet, and why; they are checked at the digits they print."""


@pytest.mark.parametrize("row", ROWS, ids=[row["id"] for row in ROWS])
def test_published_row(row: dict[str, Any]) -> None:
    """Within the row's own tolerance."""
    if row["id"] in PRINTED_ONLY:
        assert round(ours(row), 5) == row["value"]
    else:
        assert ours(row) == pytest.approx(row["value"], abs=row["tolerance"])


def test_oxygen_beside_teos10() -> None:
    """Fresh water, 0 to 40 C, 1 atm: within 0.002 mg/L of the reference library (TEOS-10, gsw)."""
    temperatures_c = np.arange(0.0, 40.01, 0.1)
    absolute = gsw.SA_from_SP(0.0, 0.0, 0.0, 45.0)
    density = gsw.rho(absolute, gsw.CT_from_pt(absolute, temperatures_c), 0.0)
    reference = gsw.O2sol_SP_pt(0.0, temperatures_c) * density * 31.9988e-6
    mine = np.array([saturation_mg_l(float(t)) for t in temperatures_c])
    assert float(np.max(np.abs(mine - reference))) < 0.002


def test_percent_and_back() -> None:
    """Percent of saturation and mg/L are each other's inverse."""
    assert from_percent_mg_l(percent_saturation(6.4, 27.0, 95.0, 0.3), 27.0, 95.0, 0.3) == pytest.approx(6.4, abs=1e-12)


OUTSIDE = [
    (-0.1, 101.0, 0.0),
    (40.1, 101.0, 0.0),
    (20.0, 50.0, 0.0),
    (20.0, 112.0, 0.0),
    (20.0, 101.0, 41.0),
    (float("nan"), 101.0, 0.0),
]


@pytest.mark.parametrize(("temperature_c", "pressure_kpa", "salinity_psu"), OUTSIDE)
def test_outside_the_source_is_refused(temperature_c: float, pressure_kpa: float, salinity_psu: float) -> None:
    """Ranges of USGS Technical Memorandum 2011.03; never an extrapolation."""
    with pytest.raises(OutOfRange):
        saturation_mg_l(temperature_c, pressure_kpa, salinity_psu)


def test_units_people_type() -> None:
    """Exact temperature factors, aliases, and an unknown unit that names the choices."""
    assert converter(Quantity.TEMPERATURE, "°F")(212.0) == pytest.approx(100.0, abs=1e-12)
    assert converter(Quantity.TEMPERATURE, "deg F")(-40.0) == pytest.approx(-40.0, abs=1e-12)
    assert converter(Quantity.TEMPERATURE, "K")(273.15) == 0.0
    assert from_canonical(Quantity.TEMPERATURE, "[degF]")(100.0) == pytest.approx(212.0, abs=1e-12)
    assert converter(Quantity.OXYGEN, "ppm")(7.5) == converter(Quantity.OXYGEN, "mg L-1")(7.5) == 7.5
    with pytest.raises(UnknownUnit, match=r"furlong.*Cel, \[degF\], K"):
        converter(Quantity.TEMPERATURE, "furlong")
    with pytest.raises(UnknownUnit):
        converter(Quantity.PH, "ppm")
