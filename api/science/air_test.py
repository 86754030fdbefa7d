"""The whole air test, off and on in one fit: one oxygen demand, and exchange without and with the airstone.

Pure functions on plain arrays. Must not do: average away two phases that contradict each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from api.science.air_off_on import FEWEST, is_told, solve_phase
from api.science.exchange_balance import weight_h
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

MOST_DISAGREEMENT_SE = 3.0


@dataclass(frozen=True, slots=True)
class AirTest:
    """A fitted air-off/air-on test; ``exchange_per_h`` is that of the still tank, as for an air-off phase."""

    demand_mg_l_h: Estimate
    exchange_per_h: Estimate
    aerated_per_h: Estimate
    airstone_per_h: Estimate
    steady_mg_l: Estimate
    saturation_mg_l: float
    covariance: tuple[tuple[float, float], tuple[float, float]]
    freedom: int
    told_apart: bool
    disagreement_se: float
    residual_sd_mg_l: float
    condition: float
    points: int
    left_out: int
    warnings: tuple[str, ...]


def fit_air_test(
    off_hours: ArrayLike,
    off_oxygen_mg_l: ArrayLike,
    on_hours: ArrayLike,
    on_oxygen_mg_l: ArrayLike,
    saturation_mg_l: float,
    *,
    saturation_se_mg_l: float = 0.0,
    confidence: float = CONFIDENCE,
) -> AirTest:
    """One demand for both phases, and exchange of the still and of the aerated tank.

    Parameters
    ----------
    off_hours, on_hours : array_like
        Times of the readings of each phase, from any zero. [h]
    off_oxygen_mg_l, on_oxygen_mg_l : array_like
        Dissolved oxygen, -0.5 to 40; pairs with NaN, infinite or masked values are left out and counted. [mg/L]
    saturation_mg_l : float
        Oxygen in equilibrium with air, 1 to 20, the same in both phases. [mg/L]
    saturation_se_mg_l : float
        Standard error of the saturation value beside the probe's own scale, 0 to 2; its share is in every error. [mg/L]
    confidence : float
        Coverage of the intervals, 0.5 to 0.9999. [1]

    Returns
    -------
    AirTest
        R [mg/L/h]; exchange of the still tank, of the aerated tank and their difference [1/h]; steady oxygen with air
        [mg/L]; and how many standard errors the demands of the two phases lie apart when each is fitted alone [1].

    Raises
    ------
    InputError
        Fewer than 5 usable readings in a phase, or no span of time.
    OutOfRange
        Outside the ranges above.

    Notes
    -----
    Off: dC/dt = k (C* - C) - R. On: dC/dt = kLa (C* - C) - R; steady oxygen C* - R / kLa. Each phase has its own start.

    References
    ----------
    bandyopadhyay_1967 : Bandyopadhyay, Humphrey & Taguchi 1967, Biotechnology and Bioengineering 9:533-544.
    """
    check_range("saturation", saturation_mg_l, *SATURATION_RANGE_MG_L)
    check_range("standard error of saturation", saturation_se_mg_l, 0.0, 2.0)
    off, off_left = usable("air-off phase", FEWEST, off_hours, off_oxygen_mg_l)
    on, on_left = usable("air-on phase", FEWEST, on_hours, on_oxygen_mg_l)
    off[0], on[0] = off[0] - off[0][0], on[0] - on[0][0]
    alone = [solve_phase(time_h, oxygen, saturation_mg_l, None, 0.0) for time_h, oxygen in (off, on)]
    fit = _solve(off, on, saturation_mg_l, saturation_se_mg_l, alone)
    demand, still, aerated = (fit.estimate(index, confidence) for index in (2, 3, 4))
    told, apart = is_told(demand, still), _apart(alone)
    return AirTest(
        demand_mg_l_h=demand,
        exchange_per_h=still,
        aerated_per_h=aerated,
        airstone_per_h=fit.combined(aerated.value - still.value, {4: 1.0, 3: -1.0}, confidence),
        steady_mg_l=_steady(fit, saturation_mg_l, confidence),
        saturation_mg_l=saturation_mg_l,
        covariance=(
            (demand.se**2, float(fit.covariance[2, 3])),
            (float(fit.covariance[3, 2]), still.se**2),
        ),
        freedom=fit.freedom,
        told_apart=told,
        disagreement_se=apart,
        residual_sd_mg_l=fit.residual_sd,
        condition=fit.condition,
        points=len(fit.residuals),
        left_out=off_left + on_left,
        warnings=_cautions(fit, demand, still, told, apart, off_left + on_left),
    )


def _solve(off: list[Array], on: list[Array], saturation: float, sd: float, alone: list[Fit]) -> Fit:
    """C0 off, C0 on, R, k, kLa; started from the phases fitted alone."""

    def model(x: Array) -> tuple[Array, Array]:
        residuals, columns = [], np.zeros((len(off[0]) + len(on[0]), 5))
        for number, (time_h, oxygen) in enumerate((off, on)):
            rows = slice(0, len(off[0])) if number == 0 else slice(len(off[0]), None)
            c0, k = x[number], x[3 + number]
            weight, bend = weight_h(float(k), time_h)
            pull = k * (saturation - c0) - x[2]
            residuals.append(c0 + pull * weight - oxygen)
            columns[rows, number], columns[rows, 2] = 1.0 - k * weight, -weight
            columns[rows, 3 + number] = (saturation - c0) * weight + pull * bend
        return np.concatenate(residuals), columns

    start = np.array([alone[0].values[0], alone[1].values[0], alone[1].values[1], *(fit.values[2] for fit in alone)])
    found = least_squares(model, start).values
    by_saturation = [k * weight_h(float(k), phase[0])[0] for k, phase in zip(found[3:], (off, on), strict=True)]
    return covered(found, *model(found), (np.concatenate(by_saturation), sd))


def _steady(fit: Fit, saturation: float, confidence: float) -> Estimate:
    demand, rate = float(fit.values[2]), float(fit.values[4])
    return fit.combined(saturation - demand / rate, {2: -1.0 / rate, 4: demand / rate**2, 5: 1.0}, confidence)


def _apart(alone: list[Fit]) -> float:
    """How many standard errors the demands of the two phases, fitted alone, lie apart."""
    spread = float(alone[0].covariance[1, 1] + alone[1].covariance[1, 1]) ** 0.5
    gap = abs(float(alone[0].values[1] - alone[1].values[1]))
    return gap / spread if spread > 0.0 else (0.0 if gap == 0.0 else float("inf"))


def _cautions(fit: Fit, demand: Estimate, still: Estimate, told: bool, apart: float, left_out: int) -> tuple[str, ...]:
    said = list(hanging_together(fit))
    if not told:
        said.append(
            f"air test: surface exchange cannot be told apart from oxygen demand in these readings "
            f"(k {still.value:.3g} ± {still.se:.2g} /h, demand {demand.value:.3g} ± {demand.se:.2g} mg/L/h); "
            f"leave the air off for longer, or on until oxygen stands still"
        )
    elif still.low <= 0.0:
        said.append(
            f"air test: exchange of the still tank is not distinguishable from none "
            f"(k {still.value:.2g} ± {still.se:.2g} /h)"
        )
    if apart > MOST_DISAGREEMENT_SE:
        said.append(
            f"air test: the two phases disagree about demand by {apart:.1f} standard errors; the saturation value "
            f"(temperature, pressure), the probe's calibration, or a demand that changes can do this"
        )
    if demand.high < 0.0:
        said.append("air test: demand comes out below zero; check saturation (temperature, pressure) and the probe")
    if left_out:
        said.append(f"air test: {left_out} readings without a value left out")
    return tuple(said)
