"""Least squares with honest errors for oxygen curves: usable readings, estimates with intervals, what is told.

Pure functions on plain arrays. Must not do: know what a curve means, or hide that its readings cannot carry it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from api.domain.errors import InputError, OutOfRange

Array = NDArray[np.float64]
CONFIDENCE = 0.95
OXYGEN_RANGE_MG_L = (-0.5, 40.0)
"""A probe in oxygen-free water may read a little below zero; nothing a tank holds is above 40."""
SATURATION_RANGE_MG_L = (1.0, 20.0)
"""Wider than Benson & Krause give for 0 to 40 Cel, 0.5 to 1.1 atm, 0 to 40 psu."""
MOST_CONDITION = 30.0
"""Condition of the unit-length Jacobian above which a fit's parameters hide one another (Belsley et al. 1980)."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A fitted value with its standard error and interval, in the unit that the field holding it names."""

    value: float
    se: float
    low: float
    high: float

    def relative_se(self) -> float:
        """Standard error as a share of the value; infinite at zero. [1]"""
        return float(self.se / abs(self.value)) if self.value else float("inf")


@dataclass(frozen=True, slots=True)
class Fit:
    """A least-squares solution: parameters, their covariance, and how far they can be told apart."""

    values: Array
    covariance: Array
    residuals: Array
    residual_sd: float
    freedom: int
    condition: float

    def estimate(self, index: int, confidence: float = CONFIDENCE) -> Estimate:
        """One parameter with its Student-t interval."""
        return interval(
            float(self.values[index]), float(self.covariance[index, index]) ** 0.5, self.freedom, confidence
        )

    def correlation(self, one: int, other: int) -> float:
        """Correlation of two parameters' errors, or 0 when there is no error at all. [1]"""
        scale = float(self.covariance[one, one] * self.covariance[other, other]) ** 0.5
        return float(self.covariance[one, other]) / scale if 0.0 < scale < float("inf") else 0.0

    def combined(self, value: float, slopes: dict[int, float], confidence: float = CONFIDENCE) -> Estimate:
        """A function of the parameters, from its value and its derivatives by them (the delta method)."""
        slope = np.zeros(len(self.covariance))
        slope[list(slopes)] = list(slopes.values())
        return interval(value, float(slope @ self.covariance @ slope) ** 0.5, self.freedom, confidence)

    def lag1(self) -> float:
        """Correlation of each residual with the next; about 0 for independent readings. [1]"""
        power = float(self.residuals @ self.residuals)
        return float(self.residuals[1:] @ self.residuals[:-1]) / power if power > 0.0 else 0.0


def interval(value: float, se: float, freedom: int, confidence: float = CONFIDENCE) -> Estimate:
    """An estimate with its two-sided Student-t interval.

    Raises OutOfRange for a confidence outside 0.5 to 0.9999.
    """
    half = student(freedom, confidence) * se
    return Estimate(value, se, value - half, value + half)


def student(freedom: int, confidence: float = CONFIDENCE) -> float:
    """Two-sided quantile of Student's t.

    Raises OutOfRange for a confidence outside 0.5 to 0.9999.
    """
    from scipy.special import stdtrit

    if not 0.5 <= confidence <= 0.9999:
        raise OutOfRange("confidence", confidence, 0.5, 0.9999, "1")
    return float(stdtrit(freedom, 0.5 + confidence / 2.0))


def usable(
    what: str, fewest: int, hours: ArrayLike, oxygen_mg_l: ArrayLike, *more: ArrayLike
) -> tuple[list[Array], int]:
    """Columns in order of time without the rows in which any value is missing, and how many rows that left out.

    Raises InputError for columns of unequal length, for text, or for fewer than ``fewest`` rows or no span of time;
    OutOfRange for an oxygen value no water holds.
    """
    columns = [floats(what, column) for column in (hours, oxygen_mg_l, *more)]
    lengths = [len(column) for column in columns]
    if len(set(lengths)) != 1:
        raise InputError(f"{what}: columns of {', '.join(map(str, lengths))} values; give each time one value of each")
    kept = np.all([np.isfinite(column) for column in columns], axis=0)
    order = np.argsort(columns[0][kept], kind="stable")
    columns = [column[kept][order] for column in columns]
    if len(order) < fewest:
        raise InputError(
            f"{what}: {len(order)} usable readings of {lengths[0]}, at least {fewest} are needed; give a longer record"
        )
    if columns[0][-1] <= columns[0][0]:
        raise InputError(f"{what}: all {len(order)} readings are at one time; give the time of each in hours")
    check_range("oxygen", columns[1], *OXYGEN_RANGE_MG_L)
    return columns, lengths[0] - len(order)


def check_range(name: str, values: Array | float, low: float, high: float, unit: str = "mg/L") -> None:
    """Raises OutOfRange naming the first value outside the range."""
    for value in np.atleast_1d(values):
        if not low <= value <= high:
            raise OutOfRange(name, float(value), low, high, unit)


def floats(what: str, column: ArrayLike) -> Array:
    """A column as numbers, masked ones as NaN.

    Raises InputError for text or for more than one dimension.
    """
    try:
        filled = np.ma.filled(np.ma.asarray(column, dtype=np.float64), np.nan)
    except (TypeError, ValueError) as cause:
        raise InputError(
            f"{what}: a column holds something that is not a number; give numbers, missing ones as NaN"
        ) from cause
    if filled.ndim != 1:
        raise InputError(f"{what}: a column has {filled.ndim} dimensions; give one value a reading")
    return np.asarray(filled, dtype=np.float64)


Model = Callable[[Array], tuple[Array, Array]]
"""Parameters to residuals (model minus reading) and their Jacobian."""


def least_squares(model: Model, start: NDArray[Any]) -> Fit:
    """Parameters with the smallest sum of squares, from ``start``.

    Raises InputError when no solution is found.
    """
    from scipy.optimize import least_squares as solve

    def misfit(x: Array) -> Array:
        return model(x)[0]

    def slopes(x: Array) -> Array:
        return model(x)[1]

    solution = solve(misfit, start, jac=slopes, method="lm", x_scale="jac", xtol=1e-13, ftol=1e-13)
    if solution.status <= 0 or not np.all(np.isfinite(solution.x)):
        raise InputError("the curve could not be fitted to these readings; look for a jump or a wrong time among them")
    return covered(solution.x, *model(solution.x))


def covered(values: NDArray[Any], residuals: Array, jacobian: Array, given: tuple[Array, float] | None = None) -> Fit:
    """A solution with its covariance, from the Jacobian at it.

    ``given`` is the column of derivatives by a constant the model leans on, and that constant's own standard error: its
    share is in the covariance, which then has one more row and column, for the constant itself.
    """
    values = np.asarray(values, dtype=np.float64)
    freedom = len(residuals) - len(values)
    variance = float(residuals @ residuals) / freedom
    lengths = np.linalg.norm(jacobian, axis=0)
    unit = jacobian / np.where(lengths > 0.0, lengths, 1.0)
    spread = np.linalg.svd(unit, compute_uv=False)
    size = len(values) + (given is not None)
    if np.any(lengths == 0.0) or spread[-1] < 1e-10 * spread[0]:
        return Fit(values, np.full((size, size), np.inf), residuals, variance**0.5, freedom, float("inf"))
    inverse = np.linalg.inv(unit.T @ unit) / np.outer(lengths, lengths)
    covariance = np.zeros((size, size))
    covariance[: len(values), : len(values)] = variance * inverse
    if given is not None:
        shift = np.append(-inverse @ (jacobian.T @ given[0]), 1.0)
        covariance += np.outer(shift, shift) * given[1] ** 2
    return Fit(values, covariance, residuals, variance**0.5, freedom, float(spread[0] / spread[-1]))


def hanging_together(fit: Fit) -> tuple[str, ...]:
    """The warning that residuals are not independent, so that the errors told are too small; or nothing."""
    lag1, count = fit.lag1(), len(fit.residuals)
    if lag1 <= max(0.3, 2.0 / count**0.5):
        return ()
    factor = ((1.0 + lag1) / (1.0 - lag1)) ** 0.5
    return (
        f"readings leave the curve in runs (lag-1 correlation {lag1:.2f}): the errors told are too small, "
        f"by a factor of about {factor:.1f}; mixing, a slow probe or a changing demand can do this",
    )
