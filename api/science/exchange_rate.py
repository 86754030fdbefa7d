"""Rates of gas exchange: their change with temperature, Schmidt numbers, and the standard oxygen transfer rate.

Pure functions on plain floats. Must not do: fit anything (``reaeration``, ``air_off_on``, ``night_regression`` do).
"""

from __future__ import annotations

from math import inf

from api.domain.errors import OutOfRange
from api.science.oxygen import PRESSURE_RANGE_KPA, STANDARD_PRESSURE_KPA, saturation_mg_l

THETA = 1.024
"""ASCE/EWRI 2-06."""


def k_at(k20_per_h: float, temperature_c: float, theta: float = THETA) -> float:
    """Exchange rate at a water temperature, from its value at 20 Cel.

    Parameters
    ----------
    k20_per_h : float
        Exchange rate at 20 Cel, 0 or more. [1/h]
    temperature_c : float
        Water temperature, 0 to 40. [Cel]
    theta : float
        Temperature coefficient, 1 to 1.1. [1]

    Returns
    -------
    float
        k20 * theta ** (t - 20). [1/h]

    Raises
    ------
    OutOfRange
        Outside the ranges above.

    References
    ----------
    asce_2006 : ASCE/EWRI 2-06, Measurement of Oxygen Transfer in Clean Water.
    """
    _within("exchange rate", k20_per_h, 0.0, inf, "1/h")
    return float(k20_per_h * _theta_power(temperature_c, theta))


def k20_from(k_per_h: float, temperature_c: float, theta: float = THETA) -> float:
    """Exchange rate at 20 Cel, from its value at a water temperature.

    Parameters
    ----------
    k_per_h : float
        Exchange rate at ``temperature_c``, 0 or more. [1/h]
    temperature_c : float
        Water temperature, 0 to 40. [Cel]
    theta : float
        Temperature coefficient, 1 to 1.1. [1]

    Returns
    -------
    float
        k * theta ** (20 - t). [1/h]

    Raises
    ------
    OutOfRange
        Outside the ranges above.

    References
    ----------
    asce_2006 : ASCE/EWRI 2-06, Measurement of Oxygen Transfer in Clean Water.
    """
    _within("exchange rate", k_per_h, 0.0, inf, "1/h")
    return float(k_per_h / _theta_power(temperature_c, theta))


def schmidt_oxygen(temperature_c: float) -> float:
    """Schmidt number of oxygen in fresh water, after Raymond et al.

    Parameters
    ----------
    temperature_c : float
        Water temperature, 4 to 35. [Cel]

    Returns
    -------
    float
        Kinematic viscosity over diffusivity. [1]

    Raises
    ------
    OutOfRange
        Outside the range above.

    References
    ----------
    raymond_2012 : Raymond et al. 2012, Limnology & Oceanography: Fluids & Environments 2:41-53.
    """
    _within("temperature", temperature_c, 4.0, 35.0, "Cel")
    return 1568.0 + (-86.04 + (2.142 - 0.0216 * temperature_c) * temperature_c) * temperature_c


def schmidt_oxygen_1992(temperature_c: float) -> float:
    """Schmidt number of oxygen in fresh water, after Wanninkhof.

    Parameters
    ----------
    temperature_c : float
        Water temperature, 0 to 30. [Cel]

    Returns
    -------
    float
        Kinematic viscosity over diffusivity. [1]

    Raises
    ------
    OutOfRange
        Outside the range above.

    References
    ----------
    wanninkhof_1992 : Wanninkhof 1992, Journal of Geophysical Research 97:7373-7382.
    """
    _within("temperature", temperature_c, 0.0, 30.0, "Cel")
    return 1800.6 + (-120.10 + (3.7818 - 0.047608 * temperature_c) * temperature_c) * temperature_c


def k600_from(k_oxygen: float, schmidt: float) -> float:
    """Exchange rate scaled to a Schmidt number of 600, in the unit given.

    Parameters
    ----------
    k_oxygen : float
        Exchange rate or velocity of oxygen. [any]
    schmidt : float
        Schmidt number of oxygen in the same water, 100 to 2500. [1]

    Returns
    -------
    float
        k * (600 / Sc) ** -0.5, for a surface with ripples. [as given]

    Raises
    ------
    OutOfRange
        Outside the range above.

    References
    ----------
    jahne_1987 : Jähne et al. 1987, Journal of Geophysical Research 92:1937-1949.
    """
    _within("Schmidt number", schmidt, 100.0, 2500.0, "1")
    return float(k_oxygen * (schmidt / 600.0) ** 0.5)


def alpha_factor(kla20_tank_per_h: float, kla20_clean_per_h: float) -> float:
    """How much the tank's water slows the same airstone: kLa in it over kLa in clean water, both at 20 Cel.

    Parameters
    ----------
    kla20_tank_per_h, kla20_clean_per_h : float
        Exchange rates at 20 Cel, 0 or more and above 0. [1/h]

    Returns
    -------
    float
        The ratio. [1]

    Raises
    ------
    OutOfRange
        For a negative rate, or a clean-water rate of zero.

    References
    ----------
    sincero_2003 : Sincero & Sincero, Physical-Chemical Treatment of Water and Wastewater, Example 9.3.
    """
    _within("exchange rate", kla20_tank_per_h, 0.0, inf, "1/h")
    _within("exchange rate in clean water", kla20_clean_per_h, 1e-9, inf, "1/h")
    return kla20_tank_per_h / kla20_clean_per_h


def c_star_20_mg_l(c_star_mg_l: float, temperature_c: float, pressure_kpa: float = STANDARD_PRESSURE_KPA) -> float:
    """Steady oxygen of a clean-water test brought to 20 Cel and one atmosphere.

    Parameters
    ----------
    c_star_mg_l : float
        Steady oxygen as fitted, 1 to 20. [mg/L]
    temperature_c : float
        Water temperature, 0 to 40. [Cel]
    pressure_kpa : float
        Station pressure during the test, 50.6625 to 111.4575. [kPa]

    Returns
    -------
    float
        C* / (tau * omega); omega is pressure over standard pressure, which holds for shallow tanks. [mg/L]

    Raises
    ------
    OutOfRange
        Outside the ranges above.

    References
    ----------
    asce_2006 : ASCE/EWRI 2-06, Measurement of Oxygen Transfer in Clean Water.
    """
    _within("steady oxygen", c_star_mg_l, 1.0, 20.0, "mg/L")
    _within("pressure", pressure_kpa, *PRESSURE_RANGE_KPA, "kPa")
    tau = float(saturation_mg_l(temperature_c)) / float(saturation_mg_l(20.0))
    return c_star_mg_l / (tau * pressure_kpa / STANDARD_PRESSURE_KPA)


def sotr_g_per_h(kla20_per_h: float, c_star_20_mg_l: float, volume_l: float) -> float:
    """Standard oxygen transfer rate: oxygen given to oxygen-free clean water at 20 Cel and one atmosphere.

    Parameters
    ----------
    kla20_per_h : float
        Exchange rate at 20 Cel, 0 or more. [1/h]
    c_star_20_mg_l : float
        Steady oxygen at 20 Cel and one atmosphere, 1 to 20. [mg/L]
    volume_l : float
        Water volume, above 0. [L]

    Returns
    -------
    float
        kLa20 * C*20 * V. [g/h]

    Raises
    ------
    OutOfRange
        Outside the ranges above.

    References
    ----------
    asce_2006 : ASCE/EWRI 2-06, Measurement of Oxygen Transfer in Clean Water.
    """
    _within("exchange rate", kla20_per_h, 0.0, inf, "1/h")
    _within("steady oxygen", c_star_20_mg_l, 1.0, 20.0, "mg/L")
    _within("volume", volume_l, 1e-6, inf, "L")
    return kla20_per_h * c_star_20_mg_l * volume_l / 1000.0


def _theta_power(temperature_c: float, theta: float) -> float:
    _within("temperature", temperature_c, 0.0, 40.0, "Cel")
    _within("temperature coefficient", theta, 1.0, 1.1, "1")
    return float(theta ** (temperature_c - 20.0))


def _within(name: str, value: float, low: float, high: float, unit: str) -> None:
    if not low <= value <= high or value == inf:
        raise OutOfRange(name, value, low, high, unit)
