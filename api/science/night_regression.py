"""Night regression: exchange rate and respiration from the oxygen of dark hours alone.

Pure functions on plain arrays. Must not do: choose the dark hours, or call a rate known that the night does not tell.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from api.domain.errors import InputError
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

FEWEST_PAIRS = 5
MOST_RELATIVE_SE = 0.25
LEAST_R2 = 0.3
GAP_STEPS = 3.0
"""Readings further apart than this many usual steps are not paired: what happened between is not known."""
WHAT = "night regression"


@dataclass(frozen=True, slots=True)
class NightRegression:
    """A regression of the change of oxygen on its deficit; ``told`` is whether the night tells the exchange rate."""

    k_per_h: Estimate
    respiration_mg_l_h: Estimate
    slope_per_h: float
    intercept_mg_l_h: float
    r2: float
    residual_sd_mg_l_h: float
    lag1: float
    step_h: float
    pairs: int
    left_out: int
    told: bool
    warnings: tuple[str, ...]


def night_regression(
    times_h: ArrayLike,
    oxygen_mg_l: ArrayLike,
    saturation_mg_l: ArrayLike,
    *,
    block_h: float | None = None,
    confidence: float = CONFIDENCE,
) -> NightRegression:
    """Exchange rate K and respiration ER of one night: dO/dt = K (Os - O) + ER.

    Parameters
    ----------
    times_h : array_like
        Times of the readings, all in the dark; steps may be uneven. [h]
    oxygen_mg_l : array_like
        Dissolved oxygen, -0.5 to 40; rows with NaN, infinite or masked values are left out and counted. [mg/L]
    saturation_mg_l : array_like
        Oxygen in equilibrium with air at each time, 1 to 20, or one value for the night. [mg/L]
    block_h : float, optional
        Readings are first averaged over blocks this long, 0.01 to 6: needed where the probe's noise is larger than what
        oxygen changes between two readings. Without it readings are paired as they are. [h]
    confidence : float
        Coverage of the intervals, 0.5 to 0.9999. [1]

    Returns
    -------
    NightRegression
        K [1/h] and ER, negative for a demand [mg/L/h], with standard errors; slope and intercept of the plain
        difference regression [1/h, mg/L/h]; r2 [1].

    Raises
    ------
    InputError
        Fewer than 5 usable pairs, or a deficit that does not vary.
    OutOfRange
        Outside the ranges above.

    Notes
    -----
    Each pair of neighbours gives a change of oxygen and the mean deficit over it. Over a step dt the slope of one on
    the other is (2/dt) tanh(K dt/2), not K, and the intercept is scaled the same way (exact while Os stands still); K
    and ER are fitted through that. Changes rather than rates are fitted, so that a pair weighs by the time it spans;
    with even steps the plain slope is that of Odum and of Hornberger & Kelly. Probe noise makes neighbouring changes
    run against each other and the errors too large; noise of the water itself is told rightly. What changes with the
    time of night besides saturation (a moving demand) is in none of the errors.

    References
    ----------
    odum_1956 : Odum 1956, Limnology and Oceanography 1:102-117.
    hornberger_1975 : Hornberger & Kelly 1975, Journal of the Environmental Engineering Division 101:729-739.
    """
    if np.ndim(saturation_mg_l) == 0:
        saturation_mg_l = np.repeat(np.asarray(saturation_mg_l), np.size(times_h))
    columns, left_out = usable(WHAT, FEWEST_PAIRS + 1, times_h, oxygen_mg_l, saturation_mg_l)
    check_range("saturation", columns[2], *SATURATION_RANGE_MG_L)
    if block_h is not None:
        check_range("block", block_h, 0.01, 6.0, "h")
        columns = _blocks(columns, block_h)
    step, change, deficit = _pairs(*columns)
    fit, plain = _solve(step, change, deficit)
    k, respiration = fit.estimate(0, confidence), fit.estimate(1, confidence)
    r2 = _r2(plain.residuals / step, change / step)
    told = k.low > 0.0 and k.relative_se() <= MOST_RELATIVE_SE and respiration.value < 0.0
    return NightRegression(
        k_per_h=k,
        respiration_mg_l_h=respiration,
        slope_per_h=float(plain.values[0]),
        intercept_mg_l_h=float(plain.values[1]),
        r2=r2,
        residual_sd_mg_l_h=fit.residual_sd / float(np.median(step)),
        lag1=fit.lag1(),
        step_h=float(np.median(step)),
        pairs=len(step),
        left_out=left_out,
        told=told,
        warnings=_cautions(k, respiration, r2, fit, left_out, told),
    )


def _blocks(columns: list[Array], block_h: float) -> list[Array]:
    """Means over blocks of time; a block with less than half the readings of a usual one is left out."""
    number = np.floor((columns[0] - columns[0][0]) / block_h + 1e-9).astype(np.int64)
    _, place, count = np.unique(number, return_inverse=True, return_counts=True)
    full = count >= 0.5 * np.median(count)
    return [(np.bincount(place, weights=column) / count)[full] for column in columns]


def _pairs(time_h: Array, oxygen: Array, saturation: Array) -> tuple[Array, Array, Array]:
    """Step, change of oxygen and mean deficit of neighbours, without pairs across a gap or at one time."""
    step = np.diff(time_h)
    usual = float(np.median(step[step > 0.0])) if np.any(step > 0.0) else 0.0
    kept = (step > 0.05 * usual) & (step <= GAP_STEPS * usual)
    if np.sum(kept) < FEWEST_PAIRS:
        raise InputError(
            f"{WHAT}: {np.sum(kept)} pairs of neighbouring readings, at least {FEWEST_PAIRS} are needed; "
            f"give a longer night or shorter blocks"
        )
    deficit = saturation - oxygen
    middle = ((deficit[1:] + deficit[:-1]) / 2.0)[kept]
    if float(np.ptp(middle)) <= 1e-9:
        raise InputError(f"{WHAT}: the oxygen deficit stands still at {middle[0]:.3g} mg/L; such a night tells no rate")
    return step[kept], np.diff(oxygen)[kept], middle


def _solve(step: Array, change: Array, deficit: Array) -> tuple[Fit, Fit]:
    """The fit through (2/dt) tanh(K dt/2), and the plain one."""
    design = np.column_stack([deficit * step, step])
    found = np.linalg.lstsq(design, change, rcond=None)[0]
    plain = covered(found, design @ found - change, design)
    steepest = 2.0 / float(np.max(step))
    if abs(found[0]) >= steepest:
        raise InputError(
            f"{WHAT}: slope {found[0]:.3g} /h, where steps of {np.max(step):.3g} h can show {steepest:.3g} /h at most; "
            f"look for a jump or a zero among the readings, or use shorter steps"
        )

    def model(x: Array) -> tuple[Array, Array]:
        half = x[0] * step / 2.0
        small = np.abs(half) < 1e-4
        safe = np.where(small, 1.0, half)
        tanh = np.tanh(safe)
        share = np.where(small, 1.0 - half**2 / 3.0, tanh / safe)
        bend = np.where(small, -2.0 * half / 3.0, ((1.0 - tanh**2) - tanh / safe) / safe)
        drive = x[0] * deficit + x[1]
        by_k = step * (share * deficit + bend * step / 2.0 * drive)
        return step * share * drive - change, np.column_stack([by_k, step * share])

    return least_squares(model, found), plain


def _r2(residuals: Array, values: Array) -> float:
    total = float(np.sum((values - values.mean()) ** 2))
    return 1.0 - float(residuals @ residuals) / total if total > 0.0 else 0.0


def _cautions(k: Estimate, respiration: Estimate, r2: float, fit: Fit, left_out: int, told: bool) -> tuple[str, ...]:
    said = list(hanging_together(fit))
    if not told:
        said.append(
            f"{WHAT}: this night does not tell the exchange rate (K {k.value:.3g} ± {k.se:.2g} /h, "
            f"ER {respiration.value:.3g} ± {respiration.se:.2g} mg/L/h)"
        )
    if r2 < LEAST_R2:
        said.append(
            f"{WHAT}: deficit explains little of the change of oxygen (r2 {r2:.2f}); average over longer blocks"
        )
    if k.high < 0.0:
        said.append(
            f"{WHAT}: K comes out below zero, which water cannot do; look for a jump, or a probe out of the water"
        )
    if respiration.value >= 0.0:
        said.append(f"{WHAT}: oxygen comes from nowhere in the dark; check light, saturation (pressure) and the probe")
    if left_out:
        said.append(f"{WHAT}: {left_out} readings without a value left out")
    return tuple(said)
