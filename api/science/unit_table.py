"""The units each quantity can be given in, with exact factors to the canonical one and where each factor comes from.

A plain table, so that the service starts without a units library (0.3 s and 30 MB more at start, and a hundred
microseconds a value); the tests hold every physical factor beside one (pint). Must not do: read labels, need context.
"""

from __future__ import annotations

from dataclasses import dataclass

from api.domain.quantity import MEANING, Quantity
from api.science import molar_masses as molar

IUPAC = "IUPAC standard atomic weights"
USGS = "USGS Technical Memorandum 2011.03"
MERCURY_PA_PER_MM = 133.322387415
"""Conventional millimetre of mercury: 13.5951 g/cm3 times 9.80665 m/s2, as in NIST SP 811. [Pa]"""
PSI_PA = 6894.757293168361
"""Pound (0.45359237 kg) times 9.80665 m/s2 over square inch (0.0254 m)2. [Pa]"""
GALLON_US_L = 3.785411784
"""231 cubic inches. [L]"""
GALLON_IMPERIAL_L = 4.54609
"""Exact by definition (UK Weights and Measures Act 1985). [L]"""
GRAIN_MG = 64.79891
"""Exact by definition: 1/7000 of a pound. [mg]"""
MG_CAO_PER_DH = 10.0
"""A German degree is 10 mg/L of calcium oxide. [mg/L]"""


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of one quantity: canonical value = (value - ``zero``) * ``up`` / ``down``.

    Two numbers where one would do, so that 5/9 and 1/1000 stay exact.
    """

    code: str
    label: str
    up: float = 1.0
    down: float = 1.0
    zero: float = 0.0
    basis: str = "exact"


def _first(quantity: Quantity) -> Unit:
    """The canonical unit."""
    return Unit(MEANING[quantity].unit, MEANING[quantity].unit_label)


def _named(basis: str, rows: dict[str, tuple[float, float]]) -> tuple[Unit, ...]:
    """Units whose label is their code."""
    return tuple(Unit(code, code.replace("ug", "µg").replace("umol", "µmol"), up, down, basis=basis)
                 for code, (up, down) in rows.items())  # fmt: skip


def _nitrogen(quantity: Quantity, forms: dict[str, float]) -> tuple[Unit, ...]:
    """Amounts of nitrogen: as N, by moles, and as the mass of whole ions or molecules."""
    n = molar.N_G_MOL
    rows: dict[str, tuple[float, float]] = {"mmol/L": (n, 1.0), "umol/L": (n, 1000.0), "nmol/L": (n, 1e6)}
    for form, mass in forms.items():
        rows |= {f"mg/L {form}": (n, mass), f"ug/L {form}": (n, mass * 1000.0)}
    as_n = (_first(quantity), Unit("ug/L", "µg/L as N", 1.0, 1000.0), Unit("g/L", "g/L as N", 1000.0))
    return as_n + _named(IUPAC, rows)


def _degrees() -> tuple[Unit, ...]:
    """Degrees and grains that hardness and alkalinity share, as CaCO3."""
    german = molar.CACO3_G_MOL * MG_CAO_PER_DH
    return (
        Unit("meq/L", "meq/L", molar.CACO3_MG_MEQ, basis=IUPAC),
        Unit("ueq/L", "µeq/L", molar.CACO3_MG_MEQ, 1000.0, basis=IUPAC),
        Unit("°dH", "°dH (German degrees)", german, molar.CAO_G_MOL, basis=f"10 mg/L CaO; {IUPAC}"),
        Unit("°fH", "°f (French degrees)", 10.0, basis="exact: 10 mg/L CaCO3"),
        Unit("°e", "°e (English degrees)", GRAIN_MG, GALLON_IMPERIAL_L, basis="exact: a grain an imperial gallon"),
        Unit("gpg", "grains per US gallon", GRAIN_MG, GALLON_US_L, basis="exact: a grain a US gallon"),
        Unit("mg/L CaO", "mg/L as CaO", molar.CACO3_G_MOL, molar.CAO_G_MOL, basis=IUPAC),
    )  # fmt: skip


_CONDUCTIVITY = (
    Unit("mS/cm", "mS/cm at 25 °C", 1000.0),
    Unit("S/cm", "S/cm at 25 °C", 1e6),
    Unit("S/m", "S/m at 25 °C", 10_000.0),
    Unit("dS/m", "dS/m at 25 °C", 1000.0),
    Unit("mS/m", "mS/m at 25 °C", 10.0),
    Unit("uS/m", "µS/m at 25 °C", 1.0, 100.0),
)
_FLOW = (
    Unit("mL/min", "mL/min", 1.0, 1000.0),
    Unit("L/s", "L/s", 60.0),
    Unit("mL/s", "mL/s", 60.0, 1000.0),
    Unit("L/h", "L/h", 1.0, 60.0),
    Unit("mL/h", "mL/h", 1.0, 60_000.0),
    Unit("m3/h", "m³/h", 1000.0, 60.0),
    Unit("m3/s", "m³/s", 60_000.0),
    Unit("[gal_us]/min", "US gallons per minute", GALLON_US_L, basis="exact: 231 cubic inches"),
    Unit("[gal_us]/h", "US gallons per hour", GALLON_US_L, 60.0, basis="exact: 231 cubic inches"),
    Unit("[gal_br]/min", "imperial gallons per minute", GALLON_IMPERIAL_L, basis="exact: 4.54609 L"),
    Unit("[gal_br]/h", "imperial gallons per hour", GALLON_IMPERIAL_L, 60.0, basis="exact: 4.54609 L"),
)
_PRESSURE = (
    Unit("Pa", "Pa", 1.0, 1000.0),
    Unit("hPa", "hPa", 1.0, 10.0),
    Unit("MPa", "MPa", 1000.0),
    Unit("mbar", "mbar", 1.0, 10.0),
    Unit("bar", "bar", 100.0),
    Unit("atm", "atm", 101.325),
    Unit("Torr", "Torr", 101.325, 760.0),
    Unit("mm[Hg]", "mmHg", MERCURY_PA_PER_MM, 1000.0, basis="conventional mercury, NIST SP 811"),
    Unit("[in_i'Hg]", "inHg", MERCURY_PA_PER_MM * 25.4, 1000.0, basis="conventional mercury, NIST SP 811"),
    Unit("[psi]", "psi", PSI_PA, 1000.0),
)
_OXYGEN = (
    *_named("exact", {"ug/L": (1.0, 1000.0), "g/L": (1000.0, 1.0)}),
    *_named(f"31.9988 g/mol, {USGS}", {"mmol/L": (molar.O2_G_MOL, 1.0), "umol/L": (molar.O2_G_MOL, 1000.0)}),
    Unit("mL/L", "mL/L (gas at 0 °C and 1 atm)", molar.O2_MG_PER_ML_STP, basis=f"1.42905 mg/mL, {USGS}"),
)
_HARDNESS = (
    *_named("exact", {"ug/L": (1.0, 1000.0), "g/L": (1000.0, 1.0)}),
    *_named(IUPAC, {"mmol/L": (molar.CACO3_G_MOL, 1.0), "umol/L": (molar.CACO3_G_MOL, 1000.0)}),
    *_degrees(),
    Unit("mg/L Ca", "mg/L as Ca", molar.CACO3_G_MOL, molar.CA_G_MOL, basis=IUPAC),
)
_ALKALINITY = (
    *_named("exact", {"ug/L": (1.0, 1000.0), "g/L": (1000.0, 1.0)}),
    *_degrees(),
    Unit("mmol/L HCO3", "mmol/L as HCO3", molar.CACO3_MG_MEQ, basis=IUPAC),
    Unit("mmol/L CaCO3", "mmol/L as CaCO3", molar.CACO3_G_MOL, basis=IUPAC),
    Unit("mg/L HCO3", "mg/L as HCO3", molar.CACO3_MG_MEQ, molar.HCO3_G_MOL, basis=IUPAC),
)
_CALCIUM = (
    *_named("exact", {"ug/L": (1.0, 1000.0), "g/L": (1000.0, 1.0)}),
    *_named(IUPAC, {"mmol/L": (molar.CA_G_MOL, 1.0), "umol/L": (molar.CA_G_MOL, 1000.0)}),
    Unit("meq/L", "meq/L", molar.CA_G_MOL, 2.0, basis=IUPAC),
    Unit("mg/L CaCO3", "mg/L as CaCO3", molar.CA_G_MOL, molar.CACO3_G_MOL, basis=IUPAC),
    Unit("mg/L CaO", "mg/L as CaO", molar.CA_G_MOL, molar.CAO_G_MOL, basis=IUPAC),
)
_MORE: dict[Quantity, tuple[Unit, ...]] = {
    Quantity.TEMPERATURE: (Unit("[degF]", "°F", 5.0, 9.0, 32.0), Unit("K", "K", zero=273.15)),
    Quantity.OXYGEN: _OXYGEN,
    Quantity.OXYGEN_SATURATION: (Unit("/", "fraction of air saturation", 100.0),),
    Quantity.PH: (),
    Quantity.CONDUCTIVITY: _CONDUCTIVITY,
    Quantity.HARDNESS: _HARDNESS,
    Quantity.ALKALINITY: _ALKALINITY,
    Quantity.CALCIUM: _CALCIUM,
    Quantity.FLOW: _FLOW,
    Quantity.LEVEL: (
        Unit("mm", "mm", 1.0, 10.0),
        Unit("m", "m", 100.0),
        Unit("[in_i]", "in", 2.54),
        Unit("[ft_i]", "ft", 30.48),
    ),
    Quantity.PRESSURE: _PRESSURE,
}
_NITROGEN = {
    Quantity.AMMONIA: {"NH3": molar.NH3_G_MOL, "NH4": molar.NH4_G_MOL},
    Quantity.NITRITE: {"NO2": molar.NO2_G_MOL},
    Quantity.NITRATE: {"NO3": molar.NO3_G_MOL},
}
TABLE: dict[Quantity, tuple[Unit, ...]] = {
    **{quantity: (_first(quantity), *units) for quantity, units in _MORE.items()},
    **{quantity: _nitrogen(quantity, forms) for quantity, forms in _NITROGEN.items()},
}
"""Each quantity's units, the canonical one first."""
