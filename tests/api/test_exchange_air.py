"""Air-off and air-on tests: published and simulated truth recovered, demand and exchange parted only where they can."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.stats import binom

from api.domain.errors import InputError, OutOfRange
from api.science.exchange import fit_air_off, fit_air_on, fit_air_test, hours_between, hours_to
from api.science.exchange_fit import Array

SEEDS = 300
FEWEST, MOST = (int(binom.ppf(share, SEEDS, 0.95)) for share in (0.001, 0.999))
"""How often a true 95 % interval holds in 300 independent tries, all but once in 500."""
INF = float("inf")
OFF_H = np.arange(0.0, 6.0, 1 / 12)
ON_H = np.arange(0.0, 2.0, 1 / 12)


def balance(hours: Array, start: float, exchange: float, demand: float, saturation: float = 8.2) -> Array:
    """dC/dt = k (C* - C) - R by numerical integration."""
    solved = solve_ivp(
        lambda _, c: exchange * (saturation - c) - demand, (0.0, hours[-1]), [start], t_eval=hours, rtol=1e-9, atol=1e-9
    )
    return np.asarray(solved.y[0])


OFF, ON = balance(OFF_H, 7.8, 0.12, 0.6), balance(ON_H, 5.3, 2.5, 0.6)


def noise(seed: int, count: int, sd: float = 0.03) -> Array:
    """Independent probe noise."""
    return np.random.default_rng(seed).normal(0.0, sd, count)


OFF_BENT = 7.8 - 0.1 * OFF_H**2 + noise(1, len(OFF_H))


def test_gassing_out_as_published() -> None:
    """The dynamic method of Bandyopadhyay & Humphrey 1967: 0.02 mg/L/min, 0.1 /min, steady at 7.8 mg/L of 8.0."""
    off = fit_air_off(np.arange(13) * 5 / 60, 7.8 - 0.1 * np.arange(13), 8.0)
    assert off.demand_mg_l_h.value / 60 == pytest.approx(0.02, abs=1e-5)
    on_mg_l = [6.6, 7.072163, 7.358545, 7.532244, 7.637598, 7.701498, 7.740256, 7.763763, 7.778021, 7.786669, 7.791914]
    on = fit_air_on(np.arange(11) * 5 / 60, on_mg_l, 8.0)
    assert on.exchange_per_h.value / 60 == pytest.approx(0.1, abs=0.0002)
    whole = fit_air_test(np.arange(13) / 12, 7.8 - 0.1 * np.arange(13), np.arange(11) / 12, on_mg_l, 8.0)
    assert whole.steady_mg_l.value == pytest.approx(7.8, abs=0.002)
    assert whole.aerated_per_h.value / 60 == pytest.approx(0.1, abs=0.0002)
    assert whole.demand_mg_l_h.value / 60 == pytest.approx(0.02, abs=1e-5)


@settings(max_examples=60, deadline=None)
@given(st.floats(5.0, 8.0), st.floats(0.05, 1.0), st.floats(0.1, 3.0), st.floats(1.0, 4.0))
def test_any_phase_is_recovered(start: float, exchange: float, demand: float, constants: float) -> None:
    """Rates and start, from a phase followed for one to four time constants from any hour."""
    hours = np.linspace(0.0, constants / exchange, 40)
    ending = 8.2 - demand / exchange
    oxygen = ending + (start - ending) * np.exp(-exchange * hours)
    if oxygen.min() < 0.0 or abs(start - ending) < 0.05:
        return
    fit = fit_air_off(hours + 500.0, oxygen, 8.2)
    assert fit.exchange_per_h.value == pytest.approx(exchange, rel=1e-5)
    assert fit.demand_mg_l_h.value == pytest.approx(demand, rel=1e-5)
    assert fit.c0_mg_l.value == pytest.approx(start, abs=1e-6)


def test_intervals_hold_as_often_as_they_say() -> None:
    """95 % intervals of demand, both exchange rates and the hours to 5 mg/L in 300 simulated tests."""
    truth = hours_between(7.8, 5.0, 8.2, 0.12, 0.6)
    held = np.zeros(6)
    for seed in range(SEEDS):
        off, on = OFF + noise(seed, len(OFF)), ON + noise(seed + 10_000, len(ON))
        whole = fit_air_test(OFF_H, off, ON_H, on, 8.2)
        alone = fit_air_off(OFF_H, off, 8.2)
        ahead = [hours_to(fit, 5.0, 7.8) for fit in (whole, alone)]
        told = (whole.demand_mg_l_h, whole.exchange_per_h, whole.aerated_per_h, alone.demand_mg_l_h)
        held[:4] += [fit.low <= true <= fit.high for fit, true in zip(told, (0.6, 0.12, 2.5, 0.6), strict=True)]
        held[4:] += [each.low_h <= truth <= each.high_h for each in ahead]
    assert np.all(held >= FEWEST), held
    assert np.all(held <= MOST), held


def test_a_short_phase_cannot_part_demand_from_exchange() -> None:
    """One hour, 0.5 mg/L of fall: said so, only the net change is sure, and no time to the limit is promised."""
    fit = fit_air_off(OFF_H[:12], (OFF + noise(3, len(OFF)))[:12], 8.2)
    assert not fit.told_apart
    assert any("surface exchange cannot be told apart from oxygen demand" in words for words in fit.warnings)
    assert fit.net_change_mg_l_h.low < -0.5 < fit.net_change_mg_l_h.high
    ahead = hours_to(fit, 4.0, 7.8)
    assert ahead.high_h == INF
    assert ahead.low_h < hours_between(7.8, 4.0, 8.2, 0.12, 0.6)
    assert "demand and exchange are not told apart" in ahead.warnings[0]


def test_a_known_exchange_parts_them() -> None:
    """The same hour with the exchange rate given: demand within 15 %."""
    fit = fit_air_off(OFF_H[:12], (OFF + noise(3, len(OFF)))[:12], 8.2, exchange_per_h=0.12)
    assert fit.told_apart
    assert fit.demand_mg_l_h.low < 0.6 < fit.demand_mg_l_h.high
    assert fit.demand_mg_l_h.relative_se() < 0.15
    assert fit.exchange_per_h.se == 0.0


def test_exchange_that_is_not_seen_is_told() -> None:
    """A lid on the tank: a straight fall tells demand, and that exchange is not distinguishable from none."""
    fit = fit_air_off(OFF_H, 7.8 - 0.6 * OFF_H + noise(1, len(OFF_H)), 8.2)
    assert fit.told_apart
    assert fit.demand_mg_l_h.low < 0.6 < fit.demand_mg_l_h.high
    assert any("not distinguishable from none" in words for words in fit.warnings)


def test_a_fall_that_grows_steeper_is_not_gas_exchange() -> None:
    """Animals stirred up later: the curve bends the wrong way."""
    fit = fit_air_off(OFF_H, OFF_BENT, 8.2)
    assert fit.exchange_per_h.high < 0.0
    assert any("bends the wrong way" in words for words in fit.warnings)
    ahead, straight = (
        hours_to(each, 3.0, 7.8) for each in (fit, fit_air_off(OFF_H, OFF_BENT, 8.2, exchange_per_h=0.0))
    )
    assert ahead.hours == pytest.approx(straight.hours, rel=0.03)
    assert ahead.low_h < ahead.hours < ahead.high_h < INF


def test_exchange_below_none_leaves_the_straight_line() -> None:
    """Noise pushed k below zero: the forecast is that of the fit without exchange."""
    oxygen = (OFF + noise(5, len(OFF)))[:12]
    fit, straight = fit_air_off(OFF_H[:12], oxygen, 8.2), fit_air_off(OFF_H[:12], oxygen, 8.2, exchange_per_h=0.0)
    assert fit.exchange_per_h.value < 0.0 < fit.exchange_per_h.high
    assert hours_to(fit, 5.0, 7.8).hours == pytest.approx(hours_to(straight, 5.0, 7.8).hours, rel=0.01)


def test_demand_below_zero_is_told() -> None:
    """A saturation value far too low for the readings."""
    fit = fit_air_on(ON_H, ON + noise(2, len(ON)), 7.0)
    assert fit.demand_mg_l_h.high < 0.0
    assert any("demand comes out below zero; check saturation" in words for words in fit.warnings)


def test_phases_that_disagree_are_told() -> None:
    """Saturation 0.4 mg/L too high moves the demand of the air-on phase by kLa times that; the off phase says so."""
    right = fit_air_test(OFF_H, OFF + noise(1, len(OFF)), ON_H, ON + noise(2, len(ON)), 8.2)
    wrong = fit_air_test(OFF_H, OFF + noise(1, len(OFF)), ON_H, ON + noise(2, len(ON)), 8.6)
    assert right.disagreement_se < 3.0 < wrong.disagreement_se
    assert not any("disagree" in words for words in right.warnings)
    assert any("the two phases disagree about demand" in words for words in wrong.warnings)


def test_an_unsure_saturation_widens_the_errors() -> None:
    """Standard error of C* 0.1 mg/L: demand moves as refits with C* shifted by it say."""
    given = (OFF_H, OFF + noise(1, len(OFF)), ON_H, ON + noise(2, len(ON)))
    sure, unsure = (fit_air_test(*given, 8.2, saturation_se_mg_l=sd) for sd in (0.0, 0.1))
    up, down = (fit_air_test(*given, 8.2 + shift).demand_mg_l_h.value for shift in (0.01, -0.01))
    expected = (sure.demand_mg_l_h.se**2 + ((up - down) / 0.02 * 0.1) ** 2) ** 0.5
    assert unsure.demand_mg_l_h.se == pytest.approx(expected, rel=0.02)
    assert unsure.demand_mg_l_h.value == sure.demand_mg_l_h.value
    ups, downs = (fit_air_test(*given, 8.2 + shift).steady_mg_l.value for shift in (0.01, -0.01))
    steady = (sure.steady_mg_l.se**2 + ((ups - downs) / 0.02 * 0.1) ** 2) ** 0.5
    assert unsure.steady_mg_l.se == pytest.approx(steady, rel=0.05)


def test_limit_that_is_never_reached() -> None:
    """Equilibrium 3.2 mg/L: 2 mg/L is never reached, 5 mg/L in between 7 and 9 hours."""
    whole = fit_air_test(OFF_H, OFF + noise(1, len(OFF)), ON_H, ON + noise(2, len(ON)), 8.2)
    never = hours_to(whole, 2.0, 7.8)
    assert (never.hours, never.high_h) == (INF, INF)
    assert never.equilibrium_mg_l == pytest.approx(8.2 - 0.6 / 0.12, abs=0.4)
    soon = hours_to(whole, 5.0, 7.8)
    assert 7.0 < soon.low_h < soon.hours < soon.high_h < 9.0
    assert soon.warnings == ()


def test_missing_values_are_left_out_and_counted() -> None:
    """In each phase; fewer than five readings in one are refused by its name."""
    spoiled = np.where(np.arange(len(OFF)) % 10 == 3, np.nan, OFF)
    whole = fit_air_test(OFF_H, spoiled, ON_H, np.ma.masked_less(ON, 5.5), 8.2)
    assert whole.left_out == int(np.sum(np.isnan(spoiled)) + np.sum(ON < 5.5)) > 0
    assert whole.demand_mg_l_h.value == pytest.approx(0.6, abs=1e-4)
    assert any("readings without a value left out" in words for words in whole.warnings)
    with pytest.raises(InputError, match="air-on phase: 4 usable readings of 4, at least 5"):
        fit_air_test(OFF_H, OFF, ON_H[:4], ON[:4], 8.2)
    with pytest.raises(InputError, match="air-off phase: 0 usable readings of 0"):
        fit_air_off([], [], 8.2)
    with pytest.raises(InputError, match="air-off phase: 0 usable readings of 24"):
        fit_air_off(ON_H, np.full(24, np.nan), 8.2)


def test_values_outside_the_range_are_named() -> None:
    """Saturation, its error, exchange, and limits."""
    with pytest.raises(OutOfRange, match="saturation 0 mg/L is outside 1 to 20 mg/L"):
        fit_air_off(OFF_H, OFF, 0.0)
    with pytest.raises(OutOfRange, match="standard error of saturation 3"):
        fit_air_off(OFF_H, OFF, 8.2, saturation_se_mg_l=3.0)
    with pytest.raises(OutOfRange, match="exchange rate -1 1/h"):
        fit_air_off(OFF_H, OFF, 8.2, exchange_per_h=-1.0)
    with pytest.raises(OutOfRange, match="limit 50 mg/L"):
        hours_to(fit_air_off(OFF_H, OFF, 8.2), 50.0, 7.8)


def test_oxygen_that_stands_still() -> None:
    """Nothing moves: neither demand nor exchange is told, and nothing breaks."""
    fit = fit_air_off(OFF_H, np.full(len(OFF_H), 7.0), 8.2)
    assert not fit.told_apart
    assert hours_to(fit, 3.0, 7.0).high_h == INF
