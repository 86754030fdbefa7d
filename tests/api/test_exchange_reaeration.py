"""Clean-water reaeration: published curves reproduced, known truth recovered, weak curves refused in plain words.

Hendricks: D. Hendricks, Fundamentals of Water Treatment Unit Processes, Table 18.5 (18.0 L, 23 Cel, 623 mmHg), fitted
beforehand by other programs; the model is that of ASCE/EWRI 2-06.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit
from scipy.stats import binom

from api.domain.errors import InputError, OutOfRange
from api.science.exchange import fit_reaeration, log_deficit
from api.science.exchange_fit import Array

HENDRICKS_H = np.array([0, 1, 2, 3, 4, 5, 7, 9, 11, 13, 15, 17, 19, 21]) / 60.0
HENDRICKS_MG_L = np.array([2.0, 2.0, 2.1, 2.5, 2.6, 3.1, 3.4, 4.2, 4.4, 5.1, 5.4, 5.7, 5.8, 6.2])
SEEDS = 300
FEWEST, MOST = (int(binom.ppf(share, SEEDS, 0.95)) for share in (0.001, 0.999))
"""How often a true 95 % interval holds in 300 independent tries, all but once in 500."""


def curve(hours: Array, c_star: float, c0: float, kla: float) -> Array:
    """ASCE/EWRI 2-06."""
    return np.asarray(c_star - (c_star - c0) * np.exp(-kla * hours))


def test_hendricks_is_refused_for_three_parameters() -> None:
    """It stops at 56 % of the C* it seems to head for; the refusal says why and what to do."""
    with pytest.raises(InputError, match=r"14 readings over 0\.35 h.*C\* 11\.27.*ill-conditioned.*give the saturation"):
        fit_reaeration(HENDRICKS_H, HENDRICKS_MG_L)


def test_hendricks_as_published_when_asked() -> None:
    """C* 11.27 +- 2.72 mg/L, kLa 0.0310 +- 0.0119 /min, with the refusal's reasons as warnings."""
    fit = fit_reaeration(HENDRICKS_H, HENDRICKS_MG_L, allow_weak=True)
    assert fit.c_star_mg_l.value == pytest.approx(11.26621, abs=0.12)
    assert fit.c_star_mg_l.se == pytest.approx(2.718398, abs=0.06)
    assert fit.kla_per_h.value / 60 == pytest.approx(0.03099031, abs=0.0004)
    assert fit.kla_per_h.se / 60 == pytest.approx(0.0119, abs=0.0002)
    assert fit.condition > 30
    assert fit.correlation < -0.99
    assert fit.reached < 0.6
    assert any("ill-conditioned" in words for words in fit.warnings)


def test_hendricks_with_saturation_given() -> None:
    """C* 7.15 mg/L held: 0.0723 /min from all points, 0.0801 from two minutes on."""
    fit = fit_reaeration(HENDRICKS_H, HENDRICKS_MG_L, saturation_mg_l=7.15)
    assert fit.kla_per_h.value / 60 == pytest.approx(0.07232847, abs=0.0003)
    assert fit.c0_mg_l.value == pytest.approx(1.502723, abs=0.01)
    assert any("stopped at 83 % of C*" in words for words in fit.warnings)
    later = fit_reaeration(HENDRICKS_H[2:], HENDRICKS_MG_L[2:], saturation_mg_l=7.15)
    assert later.kla_per_h.value / 60 == pytest.approx(0.0801, abs=0.00006)


def test_hendricks_by_log_deficit() -> None:
    """0.0809 /min from all points, 0.08530 from two minutes on; the choice of method alone moves kLa by 18 %."""
    assert log_deficit(HENDRICKS_H, HENDRICKS_MG_L, 7.15).kla_per_h.value / 60 == pytest.approx(0.0809, abs=0.00006)
    later = log_deficit(HENDRICKS_H[2:], HENDRICKS_MG_L[2:], 7.15)
    assert later.kla_per_h.value / 60 == pytest.approx(0.08530039, abs=0.0003)
    assert later.points == 12
    assert later.r2 > 0.98


@pytest.mark.parametrize(("c_star", "c0", "kla", "minutes"), [(8.263, 0.3, 6.0, 2), (9.092, 1.0, 12.0, 1)])
def test_noise_free_curve_is_recovered(c_star: float, c0: float, kla: float, minutes: int) -> None:
    """31 readings rounded to a millionth of a mg/L: the truth to 0.001."""
    hours = np.arange(31) * minutes / 60
    fit = fit_reaeration(hours, np.round(curve(hours, c_star, c0, kla), 6))
    found = (fit.c_star_mg_l.value, fit.c0_mg_l.value, fit.kla_per_h.value)
    assert found == pytest.approx((c_star, c0, kla), abs=0.001)
    assert fit.warnings == ()


@settings(max_examples=60, deadline=None)
@given(st.floats(6.0, 10.0), st.floats(0.0, 0.3), st.floats(0.2, 30.0), st.floats(4.2, 9.0), st.integers(12, 60))
def test_any_full_curve_is_recovered(c_star: float, share: float, kla: float, length: float, count: int) -> None:
    """Whatever the rate and the hour it began, if the curve is followed for 4.2 to 9 time constants."""
    hours = np.linspace(0.0, length / kla, count)
    fit = fit_reaeration(hours + 1000.0, curve(hours, c_star, share * c_star, kla))
    assert fit.kla_per_h.value == pytest.approx(kla, rel=1e-5)
    assert fit.c_star_mg_l.value == pytest.approx(c_star, rel=1e-5)


def test_same_as_another_least_squares() -> None:
    """Values and standard errors beside scipy's curve_fit, which differentiates numerically."""
    hours = np.linspace(0.0, 1.2, 40)
    oxygen = curve(hours, 8.3, 0.8, 3.5) + np.random.default_rng(7).normal(0.0, 0.05, 40)
    fit = fit_reaeration(hours, oxygen)
    values, covariance = curve_fit(curve, hours, oxygen, p0=(8.0, 1.0, 3.0))
    ours = (fit.c_star_mg_l, fit.c0_mg_l, fit.kla_per_h)
    assert [each.value for each in ours] == pytest.approx(list(values), rel=1e-5)
    assert [each.se for each in ours] == pytest.approx(list(np.sqrt(np.diag(covariance))), rel=1e-3)


def test_intervals_hold_as_often_as_they_say() -> None:
    """95 % intervals of kLa and C* in 300 simulated tests, within binomial bounds."""
    hours = np.linspace(0.0, 1.5, 31)
    held = np.zeros(2)
    for seed in range(SEEDS):
        oxygen = curve(hours, 8.2, 0.5, 3.0) + np.random.default_rng(seed).normal(0.0, 0.08, 31)
        fit = fit_reaeration(hours, oxygen)
        held += [
            fit.kla_per_h.low <= 3.0 <= fit.kla_per_h.high,
            fit.c_star_mg_l.low <= 8.2 <= fit.c_star_mg_l.high,
        ]
    assert FEWEST <= held[0] <= MOST
    assert FEWEST <= held[1] <= MOST


def test_half_a_curve_is_never_taken_for_a_whole_one() -> None:
    """Followed for 0.7 time constants under 0.05 mg/L of noise: refused in every one of 50 tries."""
    hours = np.linspace(0.0, 0.7 / 3.0, 31)
    for seed in range(50):
        oxygen = curve(hours, 8.2, 0.5, 3.0) + np.random.default_rng(seed).normal(0.0, 0.05, 31)
        with pytest.raises(InputError):
            fit_reaeration(hours, oxygen)


def test_missing_values_are_left_out_and_counted() -> None:
    """NaN, infinite and masked readings, in any order of time, change nothing but the count."""
    hours = np.linspace(0.0, 1.5, 31)
    oxygen = curve(hours, 8.2, 0.5, 3.0)
    clean = fit_reaeration(hours, oxygen)
    spoiled = np.ma.masked_array(
        np.concatenate([oxygen, [np.nan, np.inf, 3.0, 4.0]]), mask=[False] * 33 + [True, False]
    )
    times = np.concatenate([hours, [0.1, 0.2, 0.3, np.nan]])
    order = np.random.default_rng(1).permutation(35)
    fit = fit_reaeration(times[order], spoiled[order])
    assert (fit.left_out, fit.points) == (4, 31)
    assert fit.kla_per_h.value == pytest.approx(clean.kla_per_h.value, rel=1e-9)
    assert "4 readings without a value left out" in fit.warnings


def test_readings_that_hang_together_are_told() -> None:
    """A slow wave on the curve makes the standard errors too small; the warning gives the factor."""
    hours = np.linspace(0.0, 1.5, 91)
    fit = fit_reaeration(hours, curve(hours, 8.2, 0.5, 3.0) + 0.08 * np.sin(hours * 14.0))
    assert any("errors told are too small, by a factor of about" in words for words in fit.warnings)


def test_oxygen_above_the_given_saturation_is_told() -> None:
    """A saturation value for the wrong pressure shows."""
    hours = np.linspace(0.0, 1.5, 31)
    fit = fit_reaeration(hours, curve(hours, 8.2, 0.5, 3.0), saturation_mg_l=7.0, allow_weak=True)
    assert any("above C* 7.00 mg/L: check pressure and probe" in words for words in fit.warnings)


RISING = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0]
BAD: list[tuple[list[object], list[object], str]] = [
    ([], [], "0 usable readings of 0, at least 6"),
    ([0, 1, 2, 3, 4], [1, 2, 3, 4, 5], "5 usable readings of 5, at least 6"),
    ([0, 1, 2, 3, 4, 5, 6], [1, 2, 3], "columns of 7, 3 values"),
    ([1, 1, 1, 1, 1, 1, 1], [1, 2, 3, 4, 5, 6, 7], "all 7 readings are at one time"),
    (list(RISING), ["a", "b", "c", "d", "e", "f", "g"], "not a number"),
    (list(RISING), [1, 2, 3, 4, 5, 6, 7], "does not rise in a bend"),
    (list(RISING), [8, 5, 3, 2, 1.5, 1.2, 1.1], "does not rise in a bend"),
    (list(RISING), [5, 5, 5, 5, 5, 5, 5], "does not rise in a bend"),
    (list(RISING), [1, 8, 8, 8, 8, 8, 8], "over before the second one"),
]


@pytest.mark.parametrize(("hours", "oxygen", "words"), BAD, ids=[row[2] for row in BAD])
def test_what_cannot_be_used_is_said(hours: list[float], oxygen: list[float], words: str) -> None:
    """Never a number, never a bare failure of a library."""
    with pytest.raises(InputError, match=words):
        fit_reaeration(hours, oxygen, allow_weak=True)


def test_values_outside_the_range_are_named() -> None:
    """Oxygen, saturation and confidence, each with its value and range."""
    hours = np.linspace(0.0, 1.5, 31)
    oxygen = curve(hours, 8.2, 0.5, 3.0)
    with pytest.raises(OutOfRange, match=r"oxygen 81 mg/L is outside -0.5 to 40 mg/L"):
        fit_reaeration(hours, np.append(oxygen[:-1], 81.0))
    with pytest.raises(OutOfRange, match=r"saturation 95 mg/L is outside 1 to 20 mg/L"):
        fit_reaeration(hours, oxygen, saturation_mg_l=95.0)
    with pytest.raises(OutOfRange, match=r"saturation nan"):
        fit_reaeration(hours, oxygen, saturation_mg_l=float("nan"))
    with pytest.raises(OutOfRange, match=r"confidence 95"):
        fit_reaeration(hours, oxygen, confidence=95.0)
    with pytest.raises(InputError, match="2 dimensions"):
        fit_reaeration(np.ones((3, 3)), np.ones((3, 3)))


def test_log_deficit_leaves_out_what_has_no_logarithm() -> None:
    """Readings at or above saturation are counted and told; too few below it are refused."""
    hours = np.linspace(0.0, 1.5, 31)
    oxygen = curve(hours, 8.2, 0.5, 3.0)
    line = log_deficit(hours, np.append(oxygen[:-3], [8.2, 8.3, np.nan]), 8.2)
    assert line.kla_per_h.value == pytest.approx(3.0, rel=1e-9)
    assert (line.points, line.above_saturation, line.left_out) == (28, 2, 1)
    assert line.c0_mg_l == pytest.approx(0.5)
    assert len(line.warnings) == 2
    with pytest.raises(InputError, match="1 readings below saturation 1 mg/L"):
        log_deficit(hours, oxygen, 1.0)
