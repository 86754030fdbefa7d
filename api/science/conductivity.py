"""Conductivity brought to 25 Cel, and the salinity it tells of.

Pure, on single numbers and arrays alike. Must not do: call ions salt that are none; fresh tanks are estimates.
"""

from __future__ import annotations

from typing import Any, overload

from numpy.typing import ArrayLike

from api.science.arrays import Floats, Num, Span, either, within

CONDUCTANCE = Span("specific conductance", 0.0, 60000.0, "uS/cm")
RAW = Span("conductivity", 0.0, 100000.0, "uS/cm")
TEMPERATURE = Span("temperature", 0.0, 40.0, "Cel")
CONDUCTANCE_MS = Span("conductivity", 0.0, 100.0, "mS/cm")
TEMPERATURE_SEA = Span("temperature", -2.0, 40.0, "Cel")
SHARE = Span("share per degree", 0.0, 0.03, "1/Cel")
DEPTH = Span("sea pressure", 0.0, 10000.0, "dbar")
PRACTICAL = Span("practical salinity", 0.0, 42.0, "psu")
STANDARD_MS_CM = 42.9140
"""Conductivity of standard sea water, 35 and 15 Cel (as in TEOS-10). [mS/cm]"""
A = (0.0080, -0.1692, 25.3851, 14.0941, -7.0261, 2.7081)
B = (0.0005, -0.0056, -0.0066, -0.0375, 0.0636, -0.0144)
WARMTH = (0.6766097, 2.00564e-2, 1.104259e-4, -6.9698e-7, 1.0031e-9)
"""Coefficients of PSS-78 (UNESCO 44)."""
PER_C = 0.0191
"""Share per degree by which conductivity of natural water grows, at 25 Cel (standard methods, from memory)."""


@overload
def conductance_25c_us_cm(conductivity_us_cm: float, temperature_c: float, per_c: float = ...) -> float: ...
@overload
def conductance_25c_us_cm(
    conductivity_us_cm: ArrayLike, temperature_c: ArrayLike, per_c: ArrayLike = ...
) -> Floats: ...
@within(RAW, TEMPERATURE, SHARE)
def conductance_25c_us_cm(
    conductivity_us_cm: ArrayLike, temperature_c: ArrayLike, per_c: ArrayLike = PER_C
) -> float | Floats:
    """Specific conductance at 25 Cel from conductivity at the water's temperature. [uS/cm]

    ``conductivity_us_cm`` 0 to 100000 [uS/cm], ``temperature_c`` 0 to 40 [Cel], ``per_c`` 0 to 0.03 [1/Cel]. Linear:
    for potassium chloride within 1 % between 10 and 35 Cel, 5 % too much at 0. OutOfRange outside, NaN in arrays.
    References: standard_methods, nist_1991 for how far it holds.
    """
    body = lambda xp, c, t, a: c / (1.0 + a * (t - 25.0))  # noqa: E731 - one expression
    return either(body, (RAW, TEMPERATURE, SHARE), conductivity_us_cm, temperature_c, per_c)  # type: ignore[no-any-return]


@within(CONDUCTANCE)
def salinity_from_conductance(conductance_us_cm_25c: Num) -> Num:
    """Salinity for oxygen solubility from specific conductance. [1]

    ``conductance_us_cm_25c`` 0 to 60000 [uS/cm at 25 Cel]. Below 500 uS/cm PSS-78 gives 14 to 20 % less, which moves
    oxygen by 0.02 %. References: usgs_2011_03.
    """
    body = lambda xp, c: c * (5.572e-4 + c * 2.02e-9)  # noqa: E731 - one expression
    return either(body, (CONDUCTANCE,), conductance_us_cm_25c)  # type: ignore[no-any-return]


@overload
def practical_salinity(conductivity_ms_cm: float, temperature_c: float, pressure_dbar: float = ...) -> float: ...
@overload
def practical_salinity(
    conductivity_ms_cm: ArrayLike, temperature_c: ArrayLike, pressure_dbar: ArrayLike = ...
) -> Floats: ...
@within(CONDUCTANCE_MS, TEMPERATURE_SEA, DEPTH)
def practical_salinity(
    conductivity_ms_cm: ArrayLike, temperature_c: ArrayLike, pressure_dbar: ArrayLike = 0.0
) -> float | Floats:
    """Practical salinity from conductivity at the water's own temperature, with Hill's extension to fresh water. [1]

    Parameters
    ----------
    conductivity_ms_cm : float or array
        0 to 100. [mS/cm]
    temperature_c : float or array
        -2 to 40, scale of 1990. [Cel]
    pressure_dbar : float or array
        Depth as pressure, 0 to 10000. [dbar]

    Returns
    -------
    float or array
        Salinity 0 to 42; it assumes the ions of sea water, which a tank need not have. [1]

    Raises
    ------
    OutOfRange
        A single number outside the ranges above, or one that gives a salinity beyond 42; arrays give NaN.

    References
    ----------
    unesco_44, hill_1986; below 2 scaled to join PSS-78 as TEOS-10 does
    """
    spans, given = (CONDUCTANCE_MS, TEMPERATURE_SEA, DEPTH), (conductivity_ms_cm, temperature_c, pressure_dbar)
    body = lambda xp, c, t, p: _practical(xp, c / STANDARD_MS_CM, t * 1.00024, p)  # noqa: E731 - one expression
    return either(body, spans, *given, made=PRACTICAL)  # type: ignore[no-any-return]


def _practical(xp: Any, ratio: Any, t: Any, p: Any) -> Any:
    """PSS-78 from the conductivity ratio, temperature on the scale of 1968 and pressure."""
    depth = 1.0 + p * (2.070e-5 + p * (-6.370e-10 + p * 3.989e-15)) / (
        1.0 + t * (3.426e-2 + 4.464e-4 * t) + (4.215e-1 - 3.107e-3 * t) * ratio
    )
    root = xp.sqrt(ratio / (depth * _poly(WARMTH, t)))
    salinity = _pss78(root, t)
    low = _hill(root, t) * (2.0 / _hill(_root_of_two(t), t))
    if hasattr(xp, "where"):
        return xp.where(salinity < 2.0, low, salinity)
    return low if salinity < 2.0 else salinity


def _pss78(root: Any, t: Any) -> Any:
    return _poly(A, root) + _bend(t) * _poly(B, root)


def _hill(root: Any, t: Any) -> Any:
    """Hill's extension, before it is scaled to join PSS-78 at 2."""
    x, y_root = 400.0 * root * root, 10.0 * root
    first = 0.0080 / (1.0 + x * (1.5 + x))
    second = 0.0005 * _bend(t) / (1.0 + y_root * (1.0 + y_root * (1.0 + y_root)))
    return _pss78(root, t) - first - second


def _root_of_two(t: Any) -> Any:
    """The root of the ratio at which PSS-78 gives 2, by Newton's method."""
    root: Any = 0.25
    for _ in range(6):
        slope = (_pss78(root + 1e-6, t) - _pss78(root - 1e-6, t)) / 2e-6
        root = root - (_pss78(root, t) - 2.0) / slope
    return root


def _bend(t: Any) -> Any:
    return (t - 15.0) / (1.0 + 0.0162 * (t - 15.0))


def _poly(coefficients: tuple[float, ...], x: Any) -> Any:
    total: Any = 0.0
    for one in reversed(coefficients):
        total = total * x + one
    return total
