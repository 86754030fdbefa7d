"""Oxygen solubility by other published equations, to compare with: Garcia & Gordon 1992, and Weiss 1970.

The line uses ``oxygen.py``; these show how far sources agree. Must not do: serve as the line's formula.
"""

from __future__ import annotations

from typing import Any

from api.science.arrays import Num, Span, either, within

TEMPERATURE = Span("temperature", 0.0, 40.0, "Cel")
SALINITY = Span("salinity", 0.0, 42.0, "psu")
ML_A = (2.00907, 3.22014, 4.05010, 4.94457, -0.256847, 3.88767)
ML_B = (-6.24523e-3, -7.37614e-3, -1.03410e-2, -8.17083e-3)
ML_C = -4.88682e-7
KG_A = (5.80871, 3.20291, 4.17887, 5.10006, -9.86643e-2, 3.80369)
KG_B = (-7.01577e-3, -7.70028e-3, -1.13864e-2, -9.51519e-3)
KG_C = -2.75915e-7
"""Garcia & Gordon's fits to the measurements of Benson & Krause: per litre and per kilogram of sea water."""


def _poly(coefficients: tuple[float, ...], x: Any) -> Any:
    total: Any = 0.0
    for one in reversed(coefficients):
        total = total * x + one
    return total


def _garcia_gordon(xp: Any, t_c: Any, s: Any, a: tuple[float, ...], b: tuple[float, ...], c: float) -> Any:
    scaled = xp.log((298.15 - t_c) / (273.15 + t_c))
    return xp.exp(_poly(a, scaled) + s * (_poly(b, scaled) + c * s))


@within(TEMPERATURE, SALINITY)
def garcia_gordon_ml_l(temperature_c: Num, salinity_psu: Num) -> Num:
    """Oxygen at saturation, 1 atm. [mL/L at 0 Cel and 1 atm]

    ``temperature_c`` 0 to 40 [Cel], ``salinity_psu`` 0 to 42 [1]. References: garcia_gordon_1992.
    """
    body = lambda xp, t, s: _garcia_gordon(xp, t, s, ML_A, ML_B, ML_C)  # noqa: E731 - one expression
    return either(body, (TEMPERATURE, SALINITY), temperature_c, salinity_psu)  # type: ignore[no-any-return]


@within(TEMPERATURE, SALINITY)
def garcia_gordon_umol_kg(temperature_c: Num, salinity_psu: Num) -> Num:
    """Oxygen at saturation, 1 atm. [umol/kg]

    ``temperature_c`` 0 to 40 on the scale of 1990 [Cel], ``salinity_psu`` 0 to 42 [1]; the equation takes the scale of
    1968, 1.00024 times as much, as TEOS-10 does. References: garcia_gordon_1992, teos_10.
    """
    body = lambda xp, t, s: _garcia_gordon(xp, t * 1.00024, s, KG_A, KG_B, KG_C)  # noqa: E731 - one expression
    return either(body, (TEMPERATURE, SALINITY), temperature_c, salinity_psu)  # type: ignore[no-any-return]


@within(TEMPERATURE, SALINITY)
def weiss_ml_l(temperature_c: Num, salinity_psu: Num) -> Num:
    """Oxygen at saturation, 1 atm, as the US Geological Survey had it from 1981 to 2011. [mL/L at 0 Cel and 1 atm]

    ``temperature_c`` 0 to 40 [Cel], ``salinity_psu`` 0 to 42 [1]. References: weiss_1970.
    """

    def body(xp: Any, t_c: Any, s: Any) -> Any:
        x = (t_c + 273.15) / 100.0
        fresh = -173.4292 + 249.6339 / x + 143.3483 * xp.log(x) - 21.8492 * x
        return xp.exp(fresh + s * (-0.033096 + x * (0.014259 - 0.0017000 * x)))

    return either(body, (TEMPERATURE, SALINITY), temperature_c, salinity_psu)  # type: ignore[no-any-return]
