"""Station pressure from altitude by other published equations, to compare with and to follow papers that used them.

The line uses ``pressure.py``; these show how far sources agree. Must not do: serve as the line's formula.
"""

from __future__ import annotations

from typing import overload

from numpy.typing import ArrayLike

from api.science.arrays import Floats, Num, Span, either, within

ALTITUDE = Span("altitude", 0.0, 4000.0, "m")
AIR = Span("air temperature", -60.0, 60.0, "Cel")
SEA_LEVEL_KPA = 101.325
PER_M_K = 9.80665 * 0.0289644 / 8.31447
"""Weight of a mole of dry air over the gas constant. [K/m]"""
HOBBS_EXPONENT = 9.80665 * 28.96546e-3 / (8.314462618 * 0.0065)


@overload
def isothermal_pressure_kpa(altitude_m: float, air_c: float = ...) -> float: ...
@overload
def isothermal_pressure_kpa(altitude_m: ArrayLike, air_c: ArrayLike = ...) -> Floats: ...
@within(ALTITUDE, AIR)
def isothermal_pressure_kpa(altitude_m: ArrayLike, air_c: ArrayLike = 15.0) -> float | Floats:
    """Air pressure above air of one temperature down to the sea, as handbooks of aquaculture have it. [kPa]

    ``altitude_m`` 0 to 4000 [m], ``air_c`` -60 to 60 [Cel]. Above the standard atmosphere by 0.14 % at 1000 m and 1.3 %
    at 3000 m. OutOfRange outside, NaN in arrays. References: colt_2012.
    """
    body = lambda xp, z, t: SEA_LEVEL_KPA * xp.exp(-PER_M_K * z / (t + 273.15))  # noqa: E731 - one expression
    return either(body, (ALTITUDE, AIR), altitude_m, air_c)  # type: ignore[no-any-return]


@within(ALTITUDE)
def mortimer_pressure_kpa(altitude_m: Num) -> Num:
    """Air pressure as limnologists' nomograms have it. [kPa]

    ``altitude_m`` 0 to 4000 [m]. Within 0.004 % of the standard atmosphere to 3000 m. OutOfRange outside, NaN in
    arrays. References: mortimer_1981.
    """
    body = lambda xp, z: SEA_LEVEL_KPA * (1.0 - z / 44300.0) ** 5.25  # noqa: E731 - one expression
    return either(body, (ALTITUDE,), altitude_m)  # type: ignore[no-any-return]


@within(ALTITUDE)
def hobbs_pressure_kpa(altitude_m: Num) -> Num:
    """Air pressure above a sea level of 288 K, as a textbook and the reference library MetPy have it. [kPa]

    ``altitude_m`` 0 to 4000, taken as geopotential [m]. Below the standard atmosphere by 0.04 % at 3000 m. OutOfRange
    outside, NaN in arrays. References: hobbs_1977.
    """
    body = lambda xp, z: SEA_LEVEL_KPA * (1.0 - 0.0065 * z / 288.0) ** HOBBS_EXPONENT  # noqa: E731 - one expression
    return either(body, (ALTITUDE,), altitude_m)  # type: ignore[no-any-return]
