"""How oxygen goes into and out of still and aerated water.

Pure functions on arrays for the simulated room; must not be used to judge real readings (``api/science`` does that).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STANDARD_ATMOSPHERE_KPA = 101.325
OXYGEN_IN_AIR_G_L = 0.279
"""Oxygen in a litre of free air at 20 degC [g/L] (0.2095 x 1.332 g/L)."""
STILL_CM_H, RIPPLED_CM_H = 2.0, 8.0
"""Gas exchange velocity of an open surface, k600 about 2 cm/h without wind (Cole & Caraco 1998, from memory);
rippled by an airstone 5 to 15 cm/h (from memory)."""
HALF_DEMAND_MG_L = 0.5
"""Oxygen at which demand has fallen to half [mg/L]: DO/(DO + 0.5), judgement; Pcrit is 1.5 to 3 mg/L (from memory)."""


def pressure_kpa(altitude_m: float) -> float:
    """Station pressure of the U.S. Standard Atmosphere 1976, troposphere.

    Parameters
    ----------
    altitude_m : float
        Height above sea level, 0 to 11000. [m]

    Returns
    -------
    float
        Pressure. [kPa]

    References
    ----------
    U.S. Standard Atmosphere, 1976 (P = P0 (1 - L H / T0)^(g M / R L)).
    """
    return float(STANDARD_ATMOSPHERE_KPA * (1 - 0.0065 * altitude_m / 288.15) ** 5.255876)


def saturation_mg_l(temperature_c: Array, pressure_kpa: float, salinity_psu: float = 0.0) -> Array:
    """Oxygen in water at rest with moist air.

    Parameters
    ----------
    temperature_c : array
        Water temperature, 0 to 40. [degC]
    pressure_kpa : float
        Station pressure, 50 to 111. [kPa]
    salinity_psu : float
        Practical salinity, 0 to 40. [1]

    Returns
    -------
    array
        Saturation concentration. [mg/L]

    References
    ----------
    Benson & Krause 1980, 1984 as adopted by USGS Office of Water Quality Technical Memorandum 2011.03.
    """
    pressure = pressure_kpa / STANDARD_ATMOSPHERE_KPA
    inverse = 1.0 / (temperature_c + 273.15)
    log_fresh = -139.34411 + inverse * (
        1.575701e5 + inverse * (-6.642308e7 + inverse * (1.243800e10 - 8.621949e11 * inverse))
    )
    if salinity_psu:
        log_fresh = log_fresh - salinity_psu * (0.017674 + inverse * (-10.754 + 2140.7 * inverse))
    vapour = np.exp(11.8571 + inverse * (-3840.70 - 216961.0 * inverse))
    theta = 0.000975 + temperature_c * (-1.426e-5 + 6.436e-8 * temperature_c)
    share = (pressure - vapour) * (1 - theta * pressure) / ((1 - vapour) * (1 - theta))
    result: Array = np.exp(log_fresh) * share
    return result


def surface_exchange_per_h(velocity_cm_h: float, depth_m: Array) -> Array:
    """Exchange rate through the surface at 20 degC: velocity over mean depth. [1/h]"""
    return velocity_cm_h / 100.0 / depth_m


def airstone_exchange_per_h(air_l_min: Array, depth_m: Array, volume_l: Array, transfer_per_m: Array) -> Array:
    """Exchange rate of an airstone's bubbles at 20 degC.

    Parameters
    ----------
    air_l_min, depth_m, volume_l : array
        Air flow [L/min], depth of the stone [m], water volume [L].
    transfer_per_m : array
        Share of the oxygen dissolved per metre of rise, 0.025 (coarse) to 0.05 (fine), from memory. [1/m]

    Returns
    -------
    array
        kLa20 = 60 Q x 0.279 g/L x transfer x depth / (9.09 mg/L x V). [1/h]
    """
    given_mg_h = air_l_min * 60.0 * OXYGEN_IN_AIR_G_L * 1000.0 * transfer_per_m * depth_m
    rate: Array = given_mg_h / (9.09 * volume_l)
    return rate
