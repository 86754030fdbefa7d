"""Hardness and alkalinity in the units of handbooks and test kits, and hardness from calcium and magnesium.

Pure, on single numbers and arrays alike; the canonical unit is mg/L as CaCO3. Must not do: round as kit leaflets do.
"""

from __future__ import annotations

from typing import Any

from api.domain.errors import UnknownUnit
from api.science.arrays import Num, Span, either, within
from api.science.molar_masses import CA_G_MOL, CACO3_G_MOL, CAO_G_MOL, HCO3_G_MOL, MG_G_MOL

HARDNESS = Span("hardness", 0.0, 1e6, "mg/L as CaCO3")
CALCIUM = Span("calcium", 0.0, 1e6, "mg/L")
MAGNESIUM = Span("magnesium", 0.0, 1e6, "mg/L")
PER_UNIT_MG_L = {
    "mg/L as CaCO3": 1.0,
    "mmol/L": CACO3_G_MOL,
    "meq/L": CACO3_G_MOL / 2.0,
    "dGH": 10.0 * CACO3_G_MOL / CAO_G_MOL,
    "dKH": 10.0 * CACO3_G_MOL / CAO_G_MOL,
    "mg/L Ca": CACO3_G_MOL / CA_G_MOL,
    "mg/L HCO3": CACO3_G_MOL / 2.0 / HCO3_G_MOL,
    "French degree": 10.0,
    "English degree": 64.79891 / 4.54609,
    "grain/gal": 64.79891 / 3.785411784,
}
"""mg/L as CaCO3 in one of each. A German degree is 10 mg/L CaO; a grain 64.79891 mg; gallons imperial 4.54609 L and US
3.785411784 L (exact). References: iupac_2021, standard_methods."""


@within(HARDNESS)
def hardness_in(unit: str, hardness_mg_l: Num) -> Num:
    """Hardness or alkalinity from mg/L as CaCO3 to a unit of ``PER_UNIT_MG_L``.

    An amount of 0 to 1e+06; OutOfRange outside, NaN in arrays. Raises UnknownUnit, with the units there are.
    References: iupac_2021.
    """
    factor = _factor(unit)
    return either(lambda xp, c: c / factor, (HARDNESS,), hardness_mg_l)  # type: ignore[no-any-return]


@within(HARDNESS)
def hardness_from(unit: str, amount: Num) -> Num:
    """Hardness or alkalinity from a unit of ``PER_UNIT_MG_L`` to mg/L as CaCO3. [mg/L]

    An amount of 0 to 1e+06; OutOfRange outside, NaN in arrays. Raises UnknownUnit, with the units there are.
    References: iupac_2021.
    """
    factor = _factor(unit)
    return either(lambda xp, c: c * factor, (HARDNESS,), amount)  # type: ignore[no-any-return]


def _factor(unit: str) -> float:
    if unit not in PER_UNIT_MG_L:
        raise UnknownUnit(unit, "hardness", tuple(PER_UNIT_MG_L))
    return PER_UNIT_MG_L[unit]


@within(CALCIUM, MAGNESIUM)
def hardness_from_metals_mg_l(calcium_mg_l: Num, magnesium_mg_l: Num) -> Num:
    """Total hardness as CaCO3 from dissolved calcium and magnesium. [mg/L]

    Both 0 to 1e+06 [mg/L]; the handbook prints 2.497 Ca + 4.118 Mg. OutOfRange outside, NaN in
    arrays. References: standard_methods, iupac_2021.
    """

    def body(xp: Any, calcium: Any, magnesium: Any) -> Any:
        return CACO3_G_MOL * (calcium / CA_G_MOL + magnesium / MG_G_MOL)

    return either(body, (CALCIUM, MAGNESIUM), calcium_mg_l, magnesium_mg_l)  # type: ignore[no-any-return]
