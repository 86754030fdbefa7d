"""Log-deficit line: kLa as the slope of ln(C* - C) over time, the older way that a given C* allows.

Pure functions on plain arrays. Must not do: stand in for the non-linear fit, which weighs the readings evenly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from api.domain.errors import InputError
from api.science.exchange_fit import (
    CONFIDENCE,
    SATURATION_RANGE_MG_L,
    Estimate,
    check_range,
    covered,
    hanging_together,
    usable,
)

FEWEST = 4


@dataclass(frozen=True, slots=True)
class LogDeficit:
    """A straight line through ln(C* - C)."""

    kla_per_h: Estimate
    c0_mg_l: float
    r2: float
    points: int
    left_out: int
    above_saturation: int
    warnings: tuple[str, ...]


def log_deficit(
    hours: ArrayLike, oxygen_mg_l: ArrayLike, saturation_mg_l: float, confidence: float = CONFIDENCE
) -> LogDeficit:
    """Regress ln(C* - C) on time.

    Parameters
    ----------
    hours : array_like
        Times of the readings. [h]
    oxygen_mg_l : array_like
        Dissolved oxygen, -0.5 to 40; pairs with NaN, infinite or masked values are left out and counted. [mg/L]
    saturation_mg_l : float
        Steady oxygen C*, 1 to 20; readings at or above it are left out and counted. [mg/L]
    confidence : float
        Coverage of the interval, 0.5 to 0.9999. [1]

    Returns
    -------
    LogDeficit
        kLa [1/h], and C0 at the first usable reading [mg/L].

    Raises
    ------
    InputError
        Fewer than 4 usable readings below saturation.
    OutOfRange
        Outside the ranges above.

    Notes
    -----
    Readings near C* weigh far too much in it, and leaving out those above it bends it: prefer ``fit_reaeration``.

    References
    ----------
    asce_2006 : ASCE/EWRI 2-06, Measurement of Oxygen Transfer in Clean Water.
    """
    (time_h, oxygen), left_out = usable("log-deficit line", FEWEST, hours, oxygen_mg_l)
    check_range("saturation", saturation_mg_l, *SATURATION_RANGE_MG_L)
    below = oxygen < saturation_mg_l
    above = int(np.sum(~below))
    time_h, deficit = time_h[below] - time_h[0], np.log(saturation_mg_l - oxygen[below])
    if len(time_h) < FEWEST or time_h[-1] <= time_h[0]:
        raise InputError(
            f"log-deficit line: {len(time_h)} readings below saturation {saturation_mg_l:g} mg/L, "
            f"at least {FEWEST} at different times are needed; check the saturation value"
        )
    design = np.column_stack([np.ones_like(time_h), -time_h])
    found = np.linalg.lstsq(design, deficit, rcond=None)[0]
    fit = covered(found, design @ found - deficit, design)
    warnings = list(hanging_together(fit))
    if above:
        warnings.append(f"{above} readings at or above saturation left out; the slope leans on where they were cut")
    if left_out:
        warnings.append(f"{left_out} readings without a value left out")
    total = float(np.sum((deficit - deficit.mean()) ** 2))
    return LogDeficit(
        kla_per_h=fit.estimate(1, confidence),
        c0_mg_l=saturation_mg_l - float(np.exp(found[0])),
        r2=1.0 - float(fit.residuals @ fit.residuals) / total if total > 0.0 else 0.0,
        points=len(time_h),
        left_out=left_out,
        above_saturation=above,
        warnings=tuple(warnings),
    )
