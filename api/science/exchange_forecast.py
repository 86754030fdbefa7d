"""Hours until oxygen passes a limit after the air stops, with an interval that may honestly be without end.

Pure functions on fitted air tests. Must not do: promise a time where the readings allow that none comes.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np

from api.science.air_off_on import AirPhase
from api.science.air_test import AirTest
from api.science.exchange_balance import equilibrium_mg_l, hours_between
from api.science.exchange_fit import CONFIDENCE, OXYGEN_RANGE_MG_L, Array, check_range, student

DIRECTIONS = 720


@dataclass(frozen=True, slots=True)
class HoursTo:
    """Hours from the start to the limit; infinite when the balance never gets there."""

    hours: float
    low_h: float
    high_h: float
    equilibrium_mg_l: float
    warnings: tuple[str, ...]


def hours_to(fit: AirPhase | AirTest, limit_mg_l: float, start_mg_l: float, confidence: float = CONFIDENCE) -> HoursTo:
    """Time from a start to a limit when the water is left as in the fitted phase.

    Parameters
    ----------
    fit : AirPhase or AirTest
        A fitted phase, or a whole air test (its still tank is used). [-]
    limit_mg_l, start_mg_l : float
        The limit, and the oxygen when the clock starts, -0.5 to 40. [mg/L]
    confidence : float
        Coverage of the interval, 0.5 to 0.9999. [1]

    Returns
    -------
    HoursTo
        Hours with the interval [h], and the oxygen the balance heads for [mg/L].

    Raises
    ------
    OutOfRange
        Outside the ranges above.

    Notes
    -----
    The interval is the range of the time over all pairs (R, k), k not below 0, whose quadratic distance from the fitted
    pair is at most the squared Student quantile: the profile-likelihood interval of the linearised fit (Bates & Watts).
    Its upper end is infinite when one of those pairs never reaches the limit. Demand is taken to stay as it was;
    animals that move more, warmer water or rotting food shorten the time.

    References
    ----------
    bates_1988 : Bates & Watts 1988, Nonlinear Regression Analysis and Its Applications, chapter 6.
    bandyopadhyay_1967 : Bandyopadhyay, Humphrey & Taguchi 1967, Biotechnology and Bioengineering 9:533-544.
    """
    check_range("limit", limit_mg_l, *OXYGEN_RANGE_MG_L)
    check_range("oxygen at the start", start_mg_l, *OXYGEN_RANGE_MG_L)
    demand, exchange = _likeliest(fit)
    warnings: tuple[str, ...] = (
        () if fit.told_apart else ("demand and exchange are not told apart; the interval says what that costs",)
    )

    def reach(pair: Array) -> float:
        return hours_between(start_mg_l, limit_mg_l, fit.saturation_mg_l, float(pair[1]), float(pair[0]))

    best = hours_between(start_mg_l, limit_mg_l, fit.saturation_mg_l, exchange, demand)
    times = [best, *(reach(pair) for pair in _border(fit, confidence))]
    if best < inf and max(times) == inf:
        warnings += ("the readings also allow that this limit is never reached",)
    return HoursTo(best, min(times), max(times), equilibrium_mg_l(fit.saturation_mg_l, exchange, demand), warnings)


def _likeliest(fit: AirPhase | AirTest) -> tuple[float, float]:
    """Fitted demand and exchange; where exchange came out below none, the likeliest demand without any."""
    demand, exchange = fit.demand_mg_l_h.value, fit.exchange_per_h.value
    cross, own = fit.covariance[0][1], fit.covariance[1][1]
    if exchange >= 0.0:
        return demand, exchange
    return (demand - exchange * cross / own if 0.0 < own < inf else demand), 0.0


def _border(fit: AirPhase | AirTest, confidence: float) -> Array:
    """Pairs (R, k) on the border of the confidence ellipse, as far as k is not below 0."""
    covariance = np.array(fit.covariance)
    centre = np.array([fit.demand_mg_l_h.value, fit.exchange_per_h.value])
    if not np.all(np.isfinite(covariance)):
        # Nothing is known: any demand from none on, with no exchange.
        return np.array([[0.0, 0.0], [1000.0, 0.0]])
    wide = student(fit.freedom, confidence)
    size, axes = np.linalg.eigh(covariance)
    angle = np.linspace(0.0, 2.0 * np.pi, DIRECTIONS, endpoint=False)
    circle = np.column_stack([np.cos(angle), np.sin(angle)]) * np.sqrt(np.maximum(size, 0.0))
    border = centre + wide * circle @ axes.T
    if np.any(border[:, 1] >= 0.0):
        return np.asarray(border[border[:, 1] >= 0.0])
    # Wholly below none: the demand that remains likeliest without exchange, with its own error.
    demand, _ = _likeliest(fit)
    half = wide * float(max(covariance[0, 0] - covariance[0, 1] ** 2 / covariance[1, 1], 0.0)) ** 0.5
    return np.array([[demand - half, 0.0], [demand + half, 0.0]])
