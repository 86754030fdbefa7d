"""Clean-water reaeration test: kLa and steady oxygen from a rising oxygen curve, with errors and an honest refusal.

Pure functions on plain arrays. Must not do: give numbers that the readings cannot carry without saying so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from api.domain.errors import InputError
from api.science.exchange_fit import (
    CONFIDENCE,
    MOST_CONDITION,
    SATURATION_RANGE_MG_L,
    Array,
    Estimate,
    Fit,
    check_range,
    hanging_together,
    least_squares,
    usable,
)

FEWEST = 6
MOST_RELATIVE_SE_KLA = 0.20
MOST_RELATIVE_SE_C_STAR = 0.05
MOST_CORRELATION = 0.99
LEAST_REACHED = 0.90
STANDARD_REACHED = 0.98
"""ASCE/EWRI 2-06 runs a test to at least this share of steady oxygen."""
OVER_BY_SECOND = 4.6
"""Time constants between the first two readings after which 1 % of the way is left: no rate can be seen."""
WHAT = "reaeration curve"


@dataclass(frozen=True, slots=True)
class Reaeration:
    """A fitted clean-water test; ``warnings`` says in words what the numbers are worth."""

    c_star_mg_l: Estimate
    c0_mg_l: Estimate
    kla_per_h: Estimate
    residual_sd_mg_l: float
    condition: float
    correlation: float
    reached: float
    points: int
    left_out: int
    c_star_given: bool
    warnings: tuple[str, ...]


def fit_reaeration(
    hours: ArrayLike,
    oxygen_mg_l: ArrayLike,
    *,
    saturation_mg_l: float | None = None,
    confidence: float = CONFIDENCE,
    allow_weak: bool = False,
) -> Reaeration:
    """Fit C = C* - (C* - C0) exp(-kLa t) by non-linear least squares.

    Parameters
    ----------
    hours : array_like
        Times of the readings, in any order and from any zero; t counts from the first usable one. [h]
    oxygen_mg_l : array_like
        Dissolved oxygen, -0.5 to 40; pairs with NaN, infinite or masked values are left out and counted. [mg/L]
    saturation_mg_l : float, optional
        Steady oxygen C*, 1 to 20, held fixed; without it C* is fitted too, as the standard does. [mg/L]
    confidence : float
        Coverage of the intervals, 0.5 to 0.9999. [1]
    allow_weak : bool
        Return fits the readings cannot carry, with the reason among the warnings, instead of refusing them. [-]

    Returns
    -------
    Reaeration
        C*, C0 [mg/L] and kLa [1/h] with standard errors, and the share of C* the curve reached [1].

    Raises
    ------
    InputError
        Fewer than 6 usable readings, no rise that bends towards a steady value, or (unless ``allow_weak``) parameters
        that the readings do not tell apart.
    OutOfRange
        Outside the ranges above.

    Notes
    -----
    Refused: standard error of kLa above 20 % or of C* above 5 %; errors of C* and kLa correlated above 0.99; condition
    of the unit-length Jacobian above 30; or, with C* fitted, a curve that ends below 90 % of it. Below 98 % warns.

    References
    ----------
    asce_2006 : ASCE/EWRI 2-06, Measurement of Oxygen Transfer in Clean Water.
    belsley_1980 : Belsley, Kuh & Welsch 1980, Regression Diagnostics.
    """
    (time_h, oxygen), left_out = usable(WHAT, FEWEST, hours, oxygen_mg_l)
    time_h = time_h - time_h[0]
    fit = _solve(time_h, oxygen, saturation_mg_l)
    c_star = fit.estimate(2, confidence) if saturation_mg_l is None else _given(saturation_mg_l)
    ending = c_star.value + float((fit.values[0] - c_star.value) * np.exp(-fit.values[1] * time_h[-1]))
    reached = ending / c_star.value
    weak = _weak(fit, c_star, reached, saturation_mg_l is None)
    if weak and not allow_weak:
        told = "kLa cannot be told" if saturation_mg_l is not None else "C*, C0 and kLa cannot all be told"
        raise InputError(
            f"{WHAT} of {len(oxygen)} readings over {time_h[-1]:.3g} h: {told}: {'; '.join(weak)}. "
            f"Run the test until oxygen stands still (98 % of C*), or give the saturation value and fit the rest."
        )
    return Reaeration(
        c_star_mg_l=c_star,
        c0_mg_l=fit.estimate(0, confidence),
        kla_per_h=fit.estimate(1, confidence),
        residual_sd_mg_l=fit.residual_sd,
        condition=fit.condition,
        correlation=fit.correlation(1, 2) if saturation_mg_l is None else 0.0,
        reached=reached,
        points=len(oxygen),
        left_out=left_out,
        c_star_given=saturation_mg_l is not None,
        warnings=(*weak, *_cautions(fit, c_star, reached, oxygen, left_out)),
    )


def _solve(time_h: Array, oxygen: Array, saturation_mg_l: float | None) -> Fit:
    if saturation_mg_l is not None:
        check_range("saturation", saturation_mg_l, *SATURATION_RANGE_MG_L)

    def model(x: Array) -> tuple[Array, Array]:
        c_star = x[2] if saturation_mg_l is None else saturation_mg_l
        left = np.exp(-np.clip(x[1] * time_h, -50.0, 700.0))
        columns = [left, (c_star - x[0]) * time_h * left, 1.0 - left]
        return c_star + (x[0] - c_star) * left - oxygen, np.column_stack(columns[: len(x)])

    return least_squares(model, _start(time_h, oxygen, saturation_mg_l))


def _start(time_h: Array, oxygen: Array, saturation_mg_l: float | None) -> Array:
    """Best of a row of rates: for each rate the other parameters are a straight regression."""
    rates = np.geomspace(0.01, 300.0, 80) / time_h[-1]
    best, lowest = np.zeros(3), float("inf")
    for rate in rates:
        left = np.exp(-rate * time_h)
        if saturation_mg_l is None:
            found = np.linalg.lstsq(np.column_stack([left, 1.0 - left]), oxygen, rcond=None)[0]
        else:
            found = np.array([left @ (oxygen - saturation_mg_l * (1.0 - left)) / (left @ left), saturation_mg_l])
        misfit = float(np.sum((found[0] * left + found[1] * (1.0 - left) - oxygen) ** 2))
        if misfit < lowest:
            best, lowest = np.array([found[0], rate, found[1]]), misfit
    if best[1] == rates[0] or best[2] <= best[0]:
        raise InputError(
            f"{WHAT} of {len(oxygen)} readings: oxygen does not rise in a bend towards a steady value; "
            f"start from water low in oxygen, and use the readings after the air was turned on"
        )
    if best[1] * float(time_h[time_h > 0.0][0]) > OVER_BY_SECOND:
        raise InputError(f"{WHAT} of {len(oxygen)} readings: the rise is over before the second one; read more often")
    return best if saturation_mg_l is None else best[:2]


def _weak(fit: Fit, c_star: Estimate, reached: float, free: bool) -> tuple[str, ...]:
    kla = fit.estimate(1)
    said = []
    if kla.relative_se() > MOST_RELATIVE_SE_KLA:
        said.append(f"kLa {kla.value:.3g} /h has a standard error of {kla.se:.2g} /h")
    if free and c_star.relative_se() > MOST_RELATIVE_SE_C_STAR:
        said.append(f"C* {c_star.value:.2f} mg/L has a standard error of {c_star.se:.2f} mg/L")
    if free and abs(fit.correlation(1, 2)) > MOST_CORRELATION:
        said.append(f"errors of C* and kLa mirror each other (correlation {fit.correlation(1, 2):.3f})")
    if fit.condition > MOST_CONDITION:
        said.append(f"ill-conditioned (condition {fit.condition:.0f}, at most {MOST_CONDITION:.0f})")
    if free and reached < LEAST_REACHED:
        said.append(f"the curve ends at {100 * reached:.0f} % of the C* it seems to head for")
    return tuple(said)


def _cautions(fit: Fit, c_star: Estimate, reached: float, oxygen: Array, left_out: int) -> tuple[str, ...]:
    said = list(hanging_together(fit))
    if reached < STANDARD_REACHED:
        said.append(f"stopped at {100 * reached:.0f} % of C*; the standard test runs to {100 * STANDARD_REACHED:.0f} %")
    highest = float(np.median(np.sort(oxygen)[-3:]))
    if highest > 1.02 * c_star.value + 2.0 * min(fit.residual_sd, 0.1):
        said.append(f"oxygen reached {highest:.2f} mg/L, above C* {c_star.value:.2f} mg/L: check pressure and probe")
    if left_out:
        said.append(f"{left_out} readings without a value left out")
    return tuple(said)


def _given(saturation_mg_l: float) -> Estimate:
    return Estimate(saturation_mg_l, 0.0, saturation_mg_l, saturation_mg_l)
