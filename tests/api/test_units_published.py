"""Factors between units: beside published ones, and beside a units library that knows nothing of ours (pint)."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pint
import pytest

from api.domain.quantity import MEANING, Quantity
from api.science import hardness, oxygen
from api.science.molar_masses import O2_G_MOL, O2_MG_PER_ML_STP
from api.science.unit_table import TABLE
from api.science.units import converter, from_canonical, known_units

ROOT = Path(__file__).parents[2]
ROWS = json.loads((ROOT / "tests" / "published" / "units.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("row", ROWS, ids=[row["id"] for row in ROWS])
def test_published_row(row: dict[str, Any]) -> None:
    """Within the row's own tolerance; each row names its source."""
    quantity = Quantity(row["quantity"])
    ours = from_canonical(quantity, row["to_unit"])(converter(quantity, row["from_unit"])(row["given"]))
    assert ours == pytest.approx(row["value"], abs=row["tolerance"], rel=0)


IN_PINT: dict[str, str] = {
    "Cel": "degC", "[degF]": "degF", "K": "kelvin", "mg/L": "mg/L", "ug/L": "ug/L", "g/L": "g/L",
    "mmol/L": "mmol/L", "umol/L": "umol/L", "nmol/L": "nmol/L",
    "uS/cm": "uS/cm", "mS/cm": "mS/cm", "S/cm": "S/cm", "S/m": "S/m", "dS/m": "dS/m", "mS/m": "mS/m", "uS/m": "uS/m",
    "L/min": "L/min", "mL/min": "mL/min", "L/s": "L/s", "mL/s": "mL/s", "L/h": "L/h", "mL/h": "mL/h", "m3/h": "m^3/h",
    "m3/s": "m^3/s", "[gal_us]/min": "gallon/min", "[gal_us]/h": "gallon/h",
    "[gal_br]/min": "imperial_gallon/min", "[gal_br]/h": "imperial_gallon/h",
    "cm": "cm", "mm": "mm", "m": "m", "[in_i]": "inch", "[ft_i]": "foot",
    "kPa": "kPa", "Pa": "Pa", "hPa": "hPa", "MPa": "MPa", "mbar": "mbar", "bar": "bar", "atm": "atm", "Torr": "torr",
    "mm[Hg]": "mmHg", "[in_i'Hg]": "inHg", "[psi]": "psi", "%": "percent", "/": "dimensionless",
    "gpg": "grain/gallon", "°e": "grain/imperial_gallon",
}  # fmt: skip
"""What the library calls the units that need no chemistry."""
MOLES_OF = {
    Quantity.OXYGEN: 31.9988, Quantity.AMMONIA: 14.007, Quantity.NITRITE: 14.007, Quantity.NITRATE: 14.007,
    Quantity.HARDNESS: 100.086, Quantity.CALCIUM: 40.078,
}  # fmt: skip
"""Grams in a mole of the form kept: IUPAC's abridged weights; for oxygen what the USGS uses."""
PHYSICAL = [(q, unit.code) for q in Quantity for unit in TABLE[q] if unit.code in IN_PINT]


@pytest.fixture(scope="module")
def library() -> pint.UnitRegistry[float]:
    """The units library, loaded once."""
    return pint.UnitRegistry()


@pytest.mark.parametrize(("quantity", "code"), PHYSICAL, ids=[f"{q}-{code}" for q, code in PHYSICAL])
def test_beside_the_units_library(library: pint.UnitRegistry[float], quantity: Quantity, code: str) -> None:
    """Every factor that is physics and not chemistry agrees to a part in 10^12, both ways."""
    to = IN_PINT[MEANING[quantity].unit]
    given = library.Quantity(7.3, IN_PINT[code])
    if "mol" in code:
        given = given * library.Quantity(MOLES_OF[quantity], "g/mol")
    theirs = float(given.to(to).magnitude)
    assert converter(quantity, code)(7.3) == pytest.approx(theirs, rel=1e-12, abs=1e-10)
    assert from_canonical(quantity, code)(theirs) == pytest.approx(7.3, rel=1e-12, abs=1e-10)


CHEMISTRY = {
    "mL/L", "meq/L", "ueq/L", "°dH", "°fH", "mg/L Ca", "mg/L CaO", "mg/L CaCO3", "mg/L HCO3", "mmol/L HCO3",
    "mmol/L CaCO3", "mg/L NH3", "ug/L NH3", "mg/L NH4", "ug/L NH4", "mg/L NO2", "ug/L NO2", "mg/L NO3", "ug/L NO3",
    "pH",
}  # fmt: skip


def test_no_unit_is_left_unchecked() -> None:
    """Every unit is either held beside the library or is chemistry, which the published rows and the next test hold."""
    assert {unit.code for units in TABLE.values() for unit in units} == set(IN_PINT) | CHEMISTRY


EQUAL = [
    (Quantity.AMMONIA, "17.031 mg/L NH3", "14.007 mg/L"), (Quantity.AMMONIA, "18.039 mg/L NH4", "14.007 mg/L"),
    (Quantity.AMMONIA, "17031 ug/L NH3", "1 mmol/L"), (Quantity.AMMONIA, "18039 ug/L NH4", "1 mmol/L"),
    (Quantity.NITRITE, "46.005 mg/L NO2", "14.007 mg/L"), (Quantity.NITRITE, "46005 ug/L NO2", "1 mmol/L"),
    (Quantity.NITRATE, "62.004 mg/L NO3", "14.007 mg/L"), (Quantity.NITRATE, "62004 ug/L NO3", "1 mmol/L"),
    (Quantity.HARDNESS, "40.078 mg/L Ca", "100.086 mg/L"), (Quantity.HARDNESS, "56.077 mg/L CaO", "100.086 mg/L"),
    (Quantity.HARDNESS, "5.6077 °dH", "100.086 mg/L"), (Quantity.HARDNESS, "2000 ueq/L", "1 mmol/L"),
    (Quantity.ALKALINITY, "61.016 mg/L HCO3", "50.043 mg/L"), (Quantity.ALKALINITY, "1 mmol/L HCO3", "1 meq/L"),
    (Quantity.ALKALINITY, "1 mmol/L CaCO3", "2 meq/L"), (Quantity.ALKALINITY, "1 °fH", "10 mg/L"),
    (Quantity.CALCIUM, "100.086 mg/L CaCO3", "40.078 mg/L"), (Quantity.CALCIUM, "56.077 mg/L CaO", "40.078 mg/L"),
    (Quantity.CALCIUM, "2 meq/L", "1 mmol/L"), (Quantity.OXYGEN, "1 mL/L", "1.42905 mg/L"),
]  # fmt: skip


@pytest.mark.parametrize(("quantity", "one", "other"), EQUAL, ids=[f"{q}: {one}" for q, one, _ in EQUAL])
def test_amounts_that_are_the_same(quantity: Quantity, one: str, other: str) -> None:
    """A mole weighs what IUPAC's weights (abridged, 2021) sum up to; these are sums by hand of those weights."""
    values = []
    for text in (one, other):
        number, unit = text.split(" ", 1)
        values.append(converter(quantity, unit)(float(number)))
    assert values[0] == pytest.approx(values[1], rel=1e-12)


def test_a_unit_and_a_formula_never_differ() -> None:
    """The oxygen and hardness formulas use the factors the units use."""
    assert (oxygen.OXYGEN_G_PER_MOL, oxygen.MG_PER_ML_STP) == (O2_G_MOL, O2_MG_PER_ML_STP)
    codes = {"mmol/L": "mmol/L", "meq/L": "meq/L", "dGH": "°dH", "French degree": "°fH", "English degree": "°e",
             "grain/gal": "gpg", "mg/L Ca": "mg/L Ca"}  # fmt: skip
    for name, code in codes.items():
        assert converter(Quantity.HARDNESS, code)(1.0) == pytest.approx(hardness.PER_UNIT_MG_L[name], rel=1e-14)
    for name, code in {"dKH": "°dH", "meq/L": "meq/L", "mg/L HCO3": "mg/L HCO3"}.items():
        assert converter(Quantity.ALKALINITY, code)(1.0) == pytest.approx(hardness.PER_UNIT_MG_L[name], rel=1e-14)


@pytest.mark.parametrize("quantity", list(Quantity))
def test_arrays_are_taken(quantity: Quantity) -> None:
    """A whole series at once, and the array that was given stays as it was."""
    values = np.array([0.5, 1.0, 20.0])
    for code, _ in known_units(quantity):
        single = [converter(quantity, code)(value) for value in (0.5, 1.0, 20.0)]
        many: Any = converter(quantity, code)
        back: Any = from_canonical(quantity, code)
        assert many(values).tolist() == single
        assert back(many(values)) == pytest.approx(values, rel=1e-12)
    assert values.tolist() == [0.5, 1.0, 20.0]


def test_the_door_is_light() -> None:
    """Neither NumPy nor a units library is loaded to convert a reading."""
    code = (
        "import sys; from api.science.units import converter; from api.domain.quantity import Quantity;"
        "converter(Quantity.OXYGEN, 'umol/L')(1.0); print([m for m in ('pint', 'numpy', 'scipy') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert out.stdout.strip() == "[]"
