"""Air-off and air-on tests of a living tank: oxygen demand, and exchange of the still and of the aerated water.

Pure functions on plain arrays. Must not do: call one thing demand and another exchange where readings cannot part them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from api.science.exchange_balance import RATE_RANGE_PER_H, weight_h
from api.science.exchange_fit import (
    CONFIDENCE,
    SATURATION_RANGE_MG_L,
    Array,
    Estimate,
    Fit,
    check_range,
    covered,
    hanging_together,
    least_squares,
    usable,
)

FEWEST = 5
MOST_RELATIVE_SE = 0.25
"""A demand or an exchange less certain than this is not called told."""
LEAST_RATE_PER_H = 1e-6
"""Rounding of readings without noise stays below this."""


@dataclass(frozen=True, slots=True)
class AirPhase:
    """One phase of an air test; ``told_apart`` is whether demand and exchange are each known from it."""

    demand_mg_l_h: Estimate
    exchange_per_h: Estimate
    c0_mg_l: Estimate
    net_change_mg_l_h: Estimate
    saturation_mg_l: float
    covariance: tuple[tuple[float, float], tuple[float, float]]
    freedom: int
    told_apart: bool
    residual_sd_mg_l: float
    condition: float
    correlation: float
    points: int
    left_out: int
    warnings: tuple[str, ...]


def fit_air_off(
    hours: ArrayLike,
    oxygen_mg_l: ArrayLike,
    saturation_mg_l: float,
    *,
    exchange_per_h: float | None = None,
    saturation_se_mg_l: float = 0.0,
    confidence: float = CONFIDENCE,
) -> AirPhase:
    """Oxygen demand and exchange through the surface from the fall of oxygen after the air stopped.

    Parameters
    ----------
    hours : array_like
        Times of the readings; C0 is the oxygen at the first usable one. [h]
    oxygen_mg_l : array_like
        Dissolved oxygen, -0.5 to 40; pairs with NaN, infinite or masked values are left out and counted. [mg/L]
    saturation_mg_l : float
        Oxygen in equilibrium with air at the tank's temperature, station pressure and salinity, 1 to 20. [mg/L]
    exchange_per_h : float, optional
        Exchange of the still tank if it is known, 0 to 1000, held fixed; 0 gives the classic straight line. [1/h]
    saturation_se_mg_l : float
        Standard error of the saturation value beside the probe's own scale, 0 to 2; its share is in every error. [mg/L]
    confidence : float
        Coverage of the intervals, 0.5 to 0.9999. [1]

    Returns
    -------
    AirPhase
        R [mg/L/h], k [1/h], C0 [mg/L], and the net change of oxygen at the middle of the phase [mg/L/h], which is
        certain even where R and k are not told apart (then ``warnings`` says so).

    Raises
    ------
    InputError
        Fewer than 5 usable readings, or no span of time.
    OutOfRange
        Outside the ranges above.

    Notes
    -----
    dC/dt = k (C* - C) - R, so C = C0 + (k (C* - C0) - R) (1 - exp(-k t)) / k. k is not forced to be positive: an
    interval that reaches below zero says that exchange is not seen. Told apart: both errors at most 25 %, or k not
    distinguishable from 0 and the error of R at most 25 %.

    References
    ----------
    bandyopadhyay_1967 : Bandyopadhyay, Humphrey & Taguchi 1967, Biotechnology and Bioengineering 9:533-544.
    """
    return _fit_phase(
        "air-off phase", hours, oxygen_mg_l, saturation_mg_l, exchange_per_h, saturation_se_mg_l, confidence
    )


def fit_air_on(
    hours: ArrayLike,
    oxygen_mg_l: ArrayLike,
    saturation_mg_l: float,
    *,
    exchange_per_h: float | None = None,
    saturation_se_mg_l: float = 0.0,
    confidence: float = CONFIDENCE,
) -> AirPhase:
    """Oxygen demand and exchange of the aerated tank from the rise of oxygen after the air came back.

    Parameters
    ----------
    hours, oxygen_mg_l, saturation_mg_l, exchange_per_h, saturation_se_mg_l, confidence
        As for ``fit_air_off``; ``exchange_per_h`` is that of the aerated tank. [h], [mg/L], [mg/L], [1/h], [mg/L], [1]

    Returns
    -------
    AirPhase
        As for ``fit_air_off``. R hangs on the saturation value: an error of C* enters it times k.

    Raises
    ------
    InputError
        Fewer than 5 usable readings, or no span of time.
    OutOfRange
        Outside the ranges of ``fit_air_off``.

    References
    ----------
    bandyopadhyay_1967 : Bandyopadhyay, Humphrey & Taguchi 1967, Biotechnology and Bioengineering 9:533-544.
    """
    return _fit_phase(
        "air-on phase", hours, oxygen_mg_l, saturation_mg_l, exchange_per_h, saturation_se_mg_l, confidence
    )


def _fit_phase(
    what: str,
    hours: ArrayLike,
    oxygen_mg_l: ArrayLike,
    saturation: float,
    known: float | None,
    sd: float,
    confidence: float,
) -> AirPhase:
    check_range("saturation", saturation, *SATURATION_RANGE_MG_L)
    check_range("standard error of saturation", sd, 0.0, 2.0)
    if known is not None:
        check_range("exchange rate", known, 0.0, RATE_RANGE_PER_H[1], "1/h")
    (time_h, oxygen), left_out = usable(what, FEWEST, hours, oxygen_mg_l)
    time_h = time_h - time_h[0]
    fit = solve_phase(time_h, oxygen, saturation, known, sd)
    net, c0 = _net_change(time_h, oxygen, confidence), fit.estimate(0, confidence)
    demand = fit.estimate(1, confidence)
    exchange = Estimate(known, 0.0, known, known) if known is not None else fit.estimate(2, confidence)
    cross = float(fit.covariance[1, 2]) if known is None else 0.0
    told = is_told(demand, exchange)
    return AirPhase(
        demand_mg_l_h=demand,
        exchange_per_h=exchange,
        c0_mg_l=c0,
        net_change_mg_l_h=net,
        saturation_mg_l=saturation,
        covariance=((demand.se**2, cross), (cross, exchange.se**2)),
        freedom=fit.freedom,
        told_apart=told,
        residual_sd_mg_l=fit.residual_sd,
        condition=fit.condition,
        correlation=fit.correlation(1, 2) if known is None else 0.0,
        points=len(oxygen),
        left_out=left_out,
        warnings=_cautions(what, demand, exchange, net, told, fit, left_out),
    )


def solve_phase(time_h: Array, oxygen: Array, saturation: float, known: float | None, sd: float) -> Fit:
    """C0, R and (unless known) k of one phase that begins at time zero."""

    def model(x: Array) -> tuple[Array, Array]:
        k = x[2] if known is None else known
        weight, bend = weight_h(float(k), time_h)
        pull = k * (saturation - x[0]) - x[1]
        columns = [1.0 - k * weight, -weight, (saturation - x[0]) * weight + pull * bend]
        return x[0] + pull * weight - oxygen, np.column_stack(columns[: len(x)])

    start = _start(time_h, oxygen, saturation, known)
    found = least_squares(model, start if known is None else start[:2]).values
    rate = float(found[2]) if known is None else known
    return covered(found, *model(found), (rate * weight_h(rate, time_h)[0], sd))


def _start(time_h: Array, oxygen: Array, saturation: float, known: float | None) -> Array:
    """Best of a row of rates: for each the other two parameters are a straight regression."""
    rates = np.concatenate([[0.0], np.geomspace(0.02, 300.0, 50) / time_h[-1]]) if known is None else np.array([known])
    best, lowest = np.zeros(3), float("inf")
    for rate in rates:
        weight = weight_h(float(rate), time_h)[0]
        design = np.column_stack([1.0 - rate * weight, -weight])
        found = np.linalg.lstsq(design, oxygen - rate * saturation * weight, rcond=None)[0]
        misfit = float(np.sum((design @ found + rate * saturation * weight - oxygen) ** 2))
        if misfit < lowest:
            best, lowest = np.array([found[0], found[1], rate]), misfit
    return best


def _net_change(time_h: Array, oxygen: Array, confidence: float) -> Estimate:
    design = np.column_stack([np.ones_like(time_h), time_h])
    found = np.linalg.lstsq(design, oxygen, rcond=None)[0]
    return covered(found, design @ found - oxygen, design).estimate(1, confidence)


def is_told(demand: Estimate, exchange: Estimate) -> bool:
    """Whether demand is known, and exchange is either known or not distinguishable from none."""
    sure = demand.relative_se() <= MOST_RELATIVE_SE and demand.se < float("inf")
    return sure and (exchange.relative_se() <= MOST_RELATIVE_SE or exchange.se == 0.0 or exchange.low <= 0.0)


def _cautions(
    what: str, demand: Estimate, exchange: Estimate, net: Estimate, told: bool, fit: Fit, left_out: int
) -> tuple[str, ...]:
    said = list(hanging_together(fit))
    if not told:
        said.append(
            f"{what}: surface exchange cannot be told apart from oxygen demand in these readings "
            f"(k {exchange.value:.3g} ± {exchange.se:.2g} /h, demand {demand.value:.3g} ± {demand.se:.2g} mg/L/h); "
            f"only the net change of {net.value:.3g} ± {net.se:.2g} mg/L/h is sure. Let oxygen move further, or give k"
        )
    elif exchange.se > 0.0 and exchange.low <= 0.0:
        said.append(
            f"{what}: exchange is not distinguishable from none (k {exchange.value:.2g} ± {exchange.se:.2g} /h)"
        )
    if exchange.high < -LEAST_RATE_PER_H:
        said.append(f"{what}: the curve bends the wrong way for gas exchange; demand changed, or the probe drifted")
    if demand.high < -LEAST_RATE_PER_H:
        said.append(f"{what}: demand comes out below zero; check saturation (temperature, pressure) and the probe")
    if left_out:
        said.append(f"{what}: {left_out} readings without a value left out")
    return tuple(said)
