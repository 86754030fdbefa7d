"""Station air pressure from altitude or from a sea-level pressure, and its units.

Pure, on single numbers and arrays alike. Must not do: take a pressure reduced to sea level for the station's.
"""

from __future__ import annotations

from typing import Any, overload

from numpy.typing import ArrayLike

from api.domain.errors import UnknownUnit
from api.domain.quantity import Quantity
from api.science.arrays import Floats, Num, Span, either, within
from api.science.unit_table import TABLE

ALTITUDE = Span("altitude", -430.0, 11000.0, "m")
SEA_LEVEL = Span("sea-level pressure", 85.0, 110.0, "kPa")
"""Beyond the lowest and highest ever measured (87.0 and 108.5 kPa, from memory)."""
EARTH_RADIUS_M = 6356766.0
SEA_LEVEL_AIR = Span("air temperature at sea level", -60.0, 60.0, "Cel")
SEA_LEVEL_KPA, SEA_LEVEL_C, LAPSE_K_PER_M, EXPONENT = 101.325, 15.0, 0.0065, 5.255876
WEATHER_KPA = 4.0
"""How far weather moves station pressure from its mean: judgement."""
LOWEST_M = 300.0
"""Below this a reduced pressure and the station's differ by less than the weather moves them."""
KPA_PER = {unit.code: unit.up / unit.down for unit in TABLE[Quantity.PRESSURE]}


def _share(altitude_m: Any, sea_level_c: Any) -> Any:
    """Pressure at an altitude over that at sea level."""
    geopotential_m = EARTH_RADIUS_M * altitude_m / (EARTH_RADIUS_M + altitude_m)
    return (1.0 - LAPSE_K_PER_M * geopotential_m / (sea_level_c + 273.15)) ** EXPONENT


@within(ALTITUDE)
def standard_pressure_kpa(altitude_m: Num) -> Num:
    """Mean air pressure at a geometric altitude. [kPa]

    ``altitude_m`` -430 to 11000 [m]; OutOfRange outside, NaN in arrays. References: us_standard_atmosphere_1976.
    """
    body = lambda xp, z: SEA_LEVEL_KPA * _share(z, SEA_LEVEL_C)  # noqa: E731 - one expression
    return either(body, (ALTITUDE,), altitude_m)  # type: ignore[no-any-return]


@overload
def station_from_sea_level_kpa(sea_level_kpa: float, altitude_m: float, sea_level_c: float = ...) -> float: ...
@overload
def station_from_sea_level_kpa(
    sea_level_kpa: ArrayLike, altitude_m: ArrayLike, sea_level_c: ArrayLike = ...
) -> Floats: ...
@within(SEA_LEVEL, ALTITUDE, SEA_LEVEL_AIR)
def station_from_sea_level_kpa(
    sea_level_kpa: ArrayLike, altitude_m: ArrayLike, sea_level_c: ArrayLike = SEA_LEVEL_C
) -> float | Floats:
    """Station pressure from one reduced to sea level, as weather services tell it. [kPa]

    ``sea_level_kpa`` 85 to 110 [kPa], ``altitude_m`` -430 to 11000 [m], ``sea_level_c`` -60 to 60: air temperature at
    sea level, the station's and 6.5 for every 1000 m [Cel]. The standard atmosphere's 15 where it is not known; 10
    degrees make 0.4 % at 1000 m. OutOfRange outside, NaN in arrays. References: us_standard_atmosphere_1976, whose fall
    of temperature is also that of weather services' reductions (wmo_8).
    """
    body = lambda xp, p, z, t: p * _share(z, t)  # noqa: E731 - one expression
    given = (sea_level_kpa, altitude_m, sea_level_c)
    return either(body, (SEA_LEVEL, ALTITUDE, SEA_LEVEL_AIR), *given)  # type: ignore[no-any-return]


def kpa_from(pressure: Num, unit: str) -> Num:
    """A pressure in a unit of ``KPA_PER`` (the codes of ``unit_table.py``) as kPa. [kPa]

    ``pressure`` 0 to 1e+06 in that unit; OutOfRange outside, NaN in arrays. Raises UnknownUnit, with those there are.
    """
    if unit not in KPA_PER:
        raise UnknownUnit(unit, Quantity.PRESSURE, tuple(KPA_PER))
    factor, span = KPA_PER[unit], Span("pressure", 0.0, 1e6, unit)
    return either(lambda xp, p: p * factor, (span,), pressure)  # type: ignore[no-any-return]


def looks_reduced(pressure_kpa: float, altitude_m: float) -> bool:
    """Whether a station pressure looks like one reduced to sea level, which is wrong for oxygen.

    It lies nearer to what sea level has than to what this altitude has, beyond what weather can do.
    """
    if not LOWEST_M <= altitude_m <= ALTITUDE.high:
        return False
    return pressure_kpa - standard_pressure_kpa(altitude_m) > WEATHER_KPA
