"""Station air pressure from altitude or from a sea-level pressure, and its units.

Pure, on single numbers and arrays alike. Must not do: take a pressure reduced to sea level for the station's.
"""

from __future__ import annotations

from typing import Any

from api.science.arrays import Num, Span, either, within

ALTITUDE = Span("altitude", -430.0, 11000.0, "m")
SEA_LEVEL = Span("sea-level pressure", 85.0, 110.0, "kPa")
"""Beyond the lowest and highest ever measured (87.0 and 108.5 kPa, from memory)."""
EARTH_RADIUS_M = 6356766.0
SEA_LEVEL_KPA, SEA_LEVEL_K, LAPSE_K_PER_M, EXPONENT = 101.325, 288.15, 0.0065, 5.255876
WEATHER_KPA = 4.0
"""How far weather moves station pressure from its mean: judgement."""
LOWEST_M = 300.0
"""Below this a reduced pressure and the station's differ by less than the weather moves them."""
KPA_PER = {"kPa": 1.0, "hPa": 0.1, "mbar": 0.1, "mm[Hg]": 101.325 / 760.0, "atm": 101.325}


def _share(xp: Any, altitude_m: Any) -> Any:
    """Pressure at an altitude over that at sea level."""
    geopotential_m = EARTH_RADIUS_M * altitude_m / (EARTH_RADIUS_M + altitude_m)
    return (1.0 - LAPSE_K_PER_M * geopotential_m / SEA_LEVEL_K) ** EXPONENT


@within(ALTITUDE)
def standard_pressure_kpa(altitude_m: Num) -> Num:
    """Mean air pressure at a geometric altitude. [kPa]

    ``altitude_m`` -430 to 11000 [m]; OutOfRange outside, NaN in arrays. References: us_standard_atmosphere_1976.
    """
    return either(lambda xp, z: SEA_LEVEL_KPA * _share(xp, z), (ALTITUDE,), altitude_m)  # type: ignore[no-any-return]


@within(SEA_LEVEL, ALTITUDE)
def station_from_sea_level_kpa(sea_level_kpa: Num, altitude_m: Num) -> Num:
    """Station pressure from one reduced to sea level, as weather services tell it. [kPa]

    ``sea_level_kpa`` 85 to 110 [kPa], ``altitude_m`` -430 to 11000 [m]. The reduction of the standard atmosphere
    undone; weather services use the day's own temperature, which may differ by some tenths of a percent per 1,000 m.
    References: us_standard_atmosphere_1976.
    """
    body = lambda xp, p, z: p * _share(xp, z)  # noqa: E731 - one expression
    return either(body, (SEA_LEVEL, ALTITUDE), sea_level_kpa, altitude_m)  # type: ignore[no-any-return]


def kpa_from(pressure: Num, unit: str) -> Num:
    """A pressure in a unit of ``KPA_PER`` as kPa; exact factors (1 atm = 760 mm[Hg] = 101.325 kPa)."""
    factor = KPA_PER[unit]
    return either(lambda xp, p: p * factor, (), pressure)  # type: ignore[no-any-return]


def looks_reduced(pressure_kpa: float, altitude_m: float) -> bool:
    """Whether a station pressure looks like one reduced to sea level, which is wrong for oxygen.

    It lies nearer to what sea level has than to what this altitude has, beyond what weather can do.
    """
    if not LOWEST_M <= altitude_m <= ALTITUDE.high:
        return False
    return pressure_kpa - standard_pressure_kpa(altitude_m) > WEATHER_KPA
