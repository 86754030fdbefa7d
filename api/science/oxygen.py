"""Oxygen that water holds in equilibrium with air, and its amounts in other units.

Pure, on single numbers and arrays alike (``arrays.py``). Must not do: guess a missing temperature or pressure.
"""

from __future__ import annotations

from typing import Any, overload

from numpy.typing import ArrayLike

from api.science.arrays import Floats, Num, Span, either, within

STANDARD_PRESSURE_KPA = 101.325
KPA_PER_ATM = 101.325
OXYGEN_G_PER_MOL = 31.9988
MG_PER_ML_STP = 1.42905
"""USGS Technical Memorandum 2011.03."""
OXYGEN_IN_DRY_AIR = 0.20946
"""Mole fraction, as in TEOS-10 and SCOR WG 142 practice."""
TEMPERATURE = Span("temperature", 0.0, 40.0, "Cel")
PRESSURE = Span("pressure", 50.6625, 111.4575, "kPa")
"""0.5 to 1.1 atm: the range of USGS Technical Memorandum 2011.03."""
SALINITY = Span("salinity", 0.0, 40.0, "psu")
PRESSURE_RANGE_KPA = (PRESSURE.low, PRESSURE.high)
AMOUNT = Span("oxygen", -1.0, 100.0, "mg/L")
"""A little below zero is what a probe may say in water without oxygen; 100 is pure oxygen and more."""
AMOUNT_UMOL = Span("oxygen", -32.0, 3200.0, "umol/L")
AMOUNT_ML = Span("oxygen", -1.0, 70.0, "mL/L")
PERCENT = Span("oxygen saturation", -10.0, 1000.0, "%")
_INPUTS = (TEMPERATURE, PRESSURE, SALINITY)


def _log_fresh(per_k: Any) -> Any:
    """Logarithm of the oxygen in fresh water below moist air at 1 atm."""
    return -139.34411 + per_k * (1.575701e5 + per_k * (-6.642308e7 + per_k * (1.243800e10 - per_k * 8.621949e11)))


def _log_salt(per_k: Any, salinity_psu: Any) -> Any:
    return -salinity_psu * (0.017674 + per_k * (-10.754 + per_k * 2140.7))


def _vapour_atm(xp: Any, per_k: Any) -> Any:
    return xp.exp(11.8571 + per_k * (-3840.70 - 216961.0 * per_k))


def _per_k(t_c: Any) -> Any:
    return 1.0 / (t_c + 273.15)


def _theta(t_c: Any) -> Any:
    return 0.000975 + t_c * (-1.426e-5 + t_c * 6.436e-8)


def _pressure_factor(xp: Any, t_c: Any, per_k: Any, pressure_kpa: Any) -> Any:
    theta, vapour, p_atm = _theta(t_c), _vapour_atm(xp, per_k), pressure_kpa / KPA_PER_ATM
    return (p_atm - vapour) * (1.0 - theta * p_atm) / ((1.0 - vapour) * (1.0 - theta))


def _saturation(xp: Any, t_c: Any, pressure_kpa: Any, salinity_psu: Any) -> Any:
    per_k = _per_k(t_c)
    held = _log_fresh(per_k)
    # Both factors are 1 exactly in fresh water and at 1 atm, where most questions are asked.
    if not (isinstance(salinity_psu, float) and salinity_psu == 0.0):
        held = held + _log_salt(per_k, salinity_psu)
    if isinstance(pressure_kpa, float) and pressure_kpa == STANDARD_PRESSURE_KPA:
        return xp.exp(held)
    return xp.exp(held) * _pressure_factor(xp, t_c, per_k, pressure_kpa)


@overload
def saturation_mg_l(temperature_c: float, pressure_kpa: float = ..., salinity_psu: float = ...) -> float: ...
@overload
def saturation_mg_l(
    temperature_c: ArrayLike, pressure_kpa: ArrayLike = ..., salinity_psu: ArrayLike = ...
) -> Floats: ...
@within(*_INPUTS)
def saturation_mg_l(
    temperature_c: ArrayLike, pressure_kpa: ArrayLike = STANDARD_PRESSURE_KPA, salinity_psu: ArrayLike = 0.0
) -> float | Floats:
    """Oxygen concentration of water in equilibrium with moist air.

    Parameters
    ----------
    temperature_c : float or array
        Water temperature, 0 to 40. [Cel]
    pressure_kpa : float or array
        Station air pressure, not reduced to sea level, 50.6625 to 111.4575. [kPa]
    salinity_psu : float or array
        Practical salinity, 0 to 40. [1]

    Returns
    -------
    float or array
        Dissolved oxygen at 100 % of air saturation; NaN where an array is out of range. [mg/L]

    Raises
    ------
    OutOfRange
        A single number outside the ranges above.

    References
    ----------
    benson_krause_1984, usgs_2011_03
    """
    return either(_saturation, _INPUTS, temperature_c, pressure_kpa, salinity_psu)  # type: ignore[no-any-return]


@within(TEMPERATURE, PRESSURE)
def pressure_factor(temperature_c: Num, pressure_kpa: Num) -> Num:
    """Saturation at a pressure over saturation at 1 atm, fresh water. [1]

    ``temperature_c`` 0 to 40 [Cel], ``pressure_kpa`` 50.6625 to 111.4575 [kPa]. References: usgs_2011_03.
    """
    body = lambda xp, t_c, p: _pressure_factor(xp, t_c, _per_k(t_c), p)  # noqa: E731 - one expression
    return either(body, (TEMPERATURE, PRESSURE), temperature_c, pressure_kpa)  # type: ignore[no-any-return]


@within(TEMPERATURE, SALINITY)
def salinity_factor(temperature_c: Num, salinity_psu: Num) -> Num:
    """Saturation of salt water over that of fresh water. [1]

    ``temperature_c`` 0 to 40 [Cel], ``salinity_psu`` 0 to 40 [1]. References: benson_krause_1984, usgs_2011_03.
    """
    body = lambda xp, t_c, s: xp.exp(_log_salt(_per_k(t_c), s))  # noqa: E731 - one expression
    return either(body, (TEMPERATURE, SALINITY), temperature_c, salinity_psu)  # type: ignore[no-any-return]


@within(TEMPERATURE)
def vapour_pressure_kpa(temperature_c: Num) -> Num:
    """Vapour pressure of fresh water. [kPa]

    ``temperature_c`` 0 to 40 [Cel]. References: benson_krause_1984, usgs_2011_03.
    """
    body = lambda xp, t_c: KPA_PER_ATM * _vapour_atm(xp, _per_k(t_c))  # noqa: E731 - one expression
    return either(body, (TEMPERATURE,), temperature_c)  # type: ignore[no-any-return]


@within(TEMPERATURE)
def theta_per_atm(temperature_c: Num) -> Num:
    """How oxygen departs from an ideal gas in the pressure factor. [1/atm]

    ``temperature_c`` 0 to 40 [Cel]. References: benson_krause_1984, usgs_2011_03.
    """
    return either(lambda xp, t_c: _theta(t_c), (TEMPERATURE,), temperature_c)  # type: ignore[no-any-return]


@overload
def percent_saturation(
    oxygen_mg_l: float, temperature_c: float, pressure_kpa: float = ..., salinity_psu: float = ...
) -> float: ...
@overload
def percent_saturation(
    oxygen_mg_l: ArrayLike, temperature_c: ArrayLike, pressure_kpa: ArrayLike = ..., salinity_psu: ArrayLike = ...
) -> Floats: ...
@within(AMOUNT, *_INPUTS)
def percent_saturation(
    oxygen_mg_l: ArrayLike,
    temperature_c: ArrayLike,
    pressure_kpa: ArrayLike = STANDARD_PRESSURE_KPA,
    salinity_psu: ArrayLike = 0.0,
) -> float | Floats:
    """Percent of air saturation at local pressure (not of saturation at 1 atm, a second convention). [%]

    ``oxygen_mg_l`` -1 to 100 [mg/L]; other ranges, errors and references as for ``saturation_mg_l``.
    """
    body = lambda xp, c, t, p, s: 100.0 * c / _saturation(xp, t, p, s)  # noqa: E731 - one expression
    given = (oxygen_mg_l, temperature_c, pressure_kpa, salinity_psu)
    return either(body, (AMOUNT, *_INPUTS), *given)  # type: ignore[no-any-return]


@overload
def from_percent_mg_l(
    percent: float, temperature_c: float, pressure_kpa: float = ..., salinity_psu: float = ...
) -> float: ...
@overload
def from_percent_mg_l(
    percent: ArrayLike, temperature_c: ArrayLike, pressure_kpa: ArrayLike = ..., salinity_psu: ArrayLike = ...
) -> Floats: ...
@within(PERCENT, *_INPUTS)
def from_percent_mg_l(
    percent: ArrayLike,
    temperature_c: ArrayLike,
    pressure_kpa: ArrayLike = STANDARD_PRESSURE_KPA,
    salinity_psu: ArrayLike = 0.0,
) -> float | Floats:
    """Oxygen from percent of air saturation at local pressure. [mg/L]

    ``percent`` -10 to 1000 [%]; other ranges, errors and references as for ``saturation_mg_l``.
    """
    body = lambda xp, c, t, p, s: c / 100.0 * _saturation(xp, t, p, s)  # noqa: E731 - one expression
    given = (percent, temperature_c, pressure_kpa, salinity_psu)
    return either(body, (PERCENT, *_INPUTS), *given)  # type: ignore[no-any-return]


@overload
def partial_pressure_kpa(
    oxygen_mg_l: float, temperature_c: float, pressure_kpa: float = ..., salinity_psu: float = ...
) -> float: ...
@overload
def partial_pressure_kpa(
    oxygen_mg_l: ArrayLike, temperature_c: ArrayLike, pressure_kpa: ArrayLike = ..., salinity_psu: ArrayLike = ...
) -> Floats: ...
@within(AMOUNT, *_INPUTS)
def partial_pressure_kpa(
    oxygen_mg_l: ArrayLike,
    temperature_c: ArrayLike,
    pressure_kpa: ArrayLike = STANDARD_PRESSURE_KPA,
    salinity_psu: ArrayLike = 0.0,
) -> float | Floats:
    """Partial pressure of oxygen that water of this content is in equilibrium with. [kPa]

    Percent of saturation times that of oxygen in moist air. Ranges and errors as for ``percent_saturation``.
    References: usgs_2011_03 for saturation, scor_142 for the share of oxygen in dry air.
    """

    def body(xp: Any, c: Any, t: Any, p: Any, s: Any) -> Any:
        moist_kpa = OXYGEN_IN_DRY_AIR * (p - KPA_PER_ATM * _vapour_atm(xp, _per_k(t)))
        return c / _saturation(xp, t, p, s) * moist_kpa

    given = (oxygen_mg_l, temperature_c, pressure_kpa, salinity_psu)
    return either(body, (AMOUNT, *_INPUTS), *given)  # type: ignore[no-any-return]


@within(AMOUNT)
def umol_from_mg_l(oxygen_mg_l: Num) -> Num:
    """Oxygen from mg/L to µmol/L by its molar mass. [umol/L]

    ``oxygen_mg_l`` -1 to 100 [mg/L]; OutOfRange outside, NaN in arrays. References: usgs_2011_03.
    """
    return either(lambda xp, c: c * 1000.0 / OXYGEN_G_PER_MOL, (AMOUNT,), oxygen_mg_l)  # type: ignore[no-any-return]


@within(AMOUNT_UMOL)
def mg_from_umol_l(oxygen_umol_l: Num) -> Num:
    """Oxygen from µmol/L to mg/L by its molar mass. [mg/L]

    ``oxygen_umol_l`` -32 to 3200 [umol/L]; OutOfRange outside, NaN in arrays. References: usgs_2011_03.
    """
    body = lambda xp, c: c * OXYGEN_G_PER_MOL / 1000.0  # noqa: E731 - one expression
    return either(body, (AMOUNT_UMOL,), oxygen_umol_l)  # type: ignore[no-any-return]


@within(AMOUNT)
def ml_from_mg_l(oxygen_mg_l: Num) -> Num:
    """Oxygen from mg/L to millilitres of gas at 0 Cel and 1 atm. [mL/L]

    ``oxygen_mg_l`` -1 to 100 [mg/L]; OutOfRange outside, NaN in arrays. References: usgs_2011_03.
    """
    return either(lambda xp, c: c / MG_PER_ML_STP, (AMOUNT,), oxygen_mg_l)  # type: ignore[no-any-return]


@within(AMOUNT_ML)
def mg_from_ml_l(oxygen_ml_l: Num) -> Num:
    """Oxygen from millilitres of gas at 0 Cel and 1 atm to mg/L. [mg/L]

    ``oxygen_ml_l`` -1 to 70 [mL/L]; OutOfRange outside, NaN in arrays. References: usgs_2011_03.
    """
    return either(lambda xp, c: c * MG_PER_ML_STP, (AMOUNT_ML,), oxygen_ml_l)  # type: ignore[no-any-return]
