"""Oxygen that water holds in equilibrium with air, and conversions of its amounts.

Pure functions on plain floats. Must not do: guess a missing temperature or pressure.
"""

from __future__ import annotations

from math import exp

from api.domain.errors import OutOfRange

STANDARD_PRESSURE_KPA = 101.325
KPA_PER_ATM = 101.325
OXYGEN_G_PER_MOL = 31.9988
MG_PER_ML_STP = 1.42905
"""USGS Technical Memorandum 2011.03."""
PRESSURE_RANGE_KPA = (50.6625, 111.4575)
"""0.5 to 1.1 atm: the range of USGS Technical Memorandum 2011.03."""


def saturation_mg_l(
    temperature_c: float, pressure_kpa: float = STANDARD_PRESSURE_KPA, salinity_psu: float = 0.0
) -> float:
    """Oxygen concentration of water in equilibrium with moist air.

    Parameters
    ----------
    temperature_c : float
        Water temperature, 0 to 40. [Cel]
    pressure_kpa : float
        Station air pressure, not reduced to sea level, 50.6625 to 111.4575. [kPa]
    salinity_psu : float
        Practical salinity, 0 to 40. [1]

    Returns
    -------
    float
        Dissolved oxygen at 100 % of air saturation. [mg/L]

    Raises
    ------
    OutOfRange
        Outside the ranges above.

    References
    ----------
    Benson & Krause 1980, 1984 (Limnol. Oceanogr. 29:620-632), as adopted in USGS Technical Memorandum 2011.03.
    """
    _within("temperature", temperature_c, 0.0, 40.0, "Cel")
    _within("pressure", pressure_kpa, *PRESSURE_RANGE_KPA, "kPa")
    _within("salinity", salinity_psu, 0.0, 40.0, "psu")
    t_k = temperature_c + 273.15
    standard = exp(-139.34411 + (1.575701e5 + (-6.642308e7 + (1.243800e10 - 8.621949e11 / t_k) / t_k) / t_k) / t_k)
    salt = exp(-salinity_psu * (0.017674 + (-10.754 + 2140.7 / t_k) / t_k))
    theta = 0.000975 + (-1.426e-5 + 6.436e-8 * temperature_c) * temperature_c
    vapour_atm = vapour_pressure_kpa(temperature_c) / KPA_PER_ATM
    p_atm = pressure_kpa / KPA_PER_ATM
    return standard * salt * (p_atm - vapour_atm) * (1 - theta * p_atm) / ((1 - vapour_atm) * (1 - theta))


def vapour_pressure_kpa(temperature_c: float) -> float:
    """Vapour pressure of fresh water. [kPa]

    ``temperature_c`` 0 to 40 [Cel]. Source: Benson & Krause 1980, as in USGS Technical Memorandum 2011.03.
    """
    _within("temperature", temperature_c, 0.0, 40.0, "Cel")
    t_k = temperature_c + 273.15
    return KPA_PER_ATM * exp(11.8571 + (-3840.70 - 216961.0 / t_k) / t_k)


def percent_saturation(
    oxygen_mg_l: float, temperature_c: float, pressure_kpa: float = STANDARD_PRESSURE_KPA, salinity_psu: float = 0.0
) -> float:
    """Percent of air saturation at local pressure. [%]

    Ranges and errors as for ``saturation_mg_l``.
    """
    return 100.0 * oxygen_mg_l / saturation_mg_l(temperature_c, pressure_kpa, salinity_psu)


def from_percent_mg_l(
    percent: float, temperature_c: float, pressure_kpa: float = STANDARD_PRESSURE_KPA, salinity_psu: float = 0.0
) -> float:
    """Oxygen from percent of air saturation at local pressure. [mg/L]

    Ranges and errors as for ``saturation_mg_l``.
    """
    return percent / 100.0 * saturation_mg_l(temperature_c, pressure_kpa, salinity_psu)


def _within(name: str, value: float, low: float, high: float, unit: str) -> None:
    if not low <= value <= high:
        raise OutOfRange(name, value, low, high, unit)
