"""Station air pressure from altitude. Must not do: accept sea-level-reduced pressure as station pressure."""

from __future__ import annotations

from api.domain.errors import OutOfRange


def standard_pressure_kpa(altitude_m: float) -> float:
    """Mean air pressure at a geometric altitude. [kPa]

    ``altitude_m`` -430 to 11000 [m]. Raises OutOfRange outside. Source: US Standard Atmosphere 1976, troposphere.
    """
    if not -430.0 <= altitude_m <= 11000.0:
        raise OutOfRange("altitude", altitude_m, -430.0, 11000.0, "m")
    earth_m = 6356766.0
    geopotential_m = earth_m * altitude_m / (earth_m + altitude_m)
    return float(101.325 * (1 - 0.0065 * geopotential_m / 288.15) ** 5.255876)


def looks_reduced(pressure_kpa: float, altitude_m: float) -> bool:
    return altitude_m > 400 and pressure_kpa > standard_pressure_kpa(altitude_m) + 4.0
