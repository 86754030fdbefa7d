"""Night regression: published slopes to the digit, simulated nights recovered, nights that tell nothing said to."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, linregress

from api.domain.errors import InputError, OutOfRange
from api.science.exchange import night_regression
from api.science.exchange_fit import Array

SEEDS = 300
FEWEST, MOST = (int(binom.ppf(share, SEEDS, 0.95)) for share in (0.001, 0.999))
"""How often a true 95 % interval holds in 300 independent tries, all but once in 500."""
PUBLISHED = [8.0, 7.821547, 7.695794, 7.607177, 7.544729, 7.500723, 7.469713, 7.44786, 7.432461]
"""K 0.35 /h, ER -0.25 mg/L/h, saturation 8.11 mg/L, hourly: the equation of Odum 1956 and Hornberger & Kelly 1975."""
NIGHT_H = np.arange(0.0, 9.0, 1 / 12)


def night(hours: Array, k: float, respiration: float, start: float = 9.0, saturation: float = 8.5) -> Array:
    """dO/dt = K (Os - O) + ER, solved."""
    ending = saturation + respiration / k
    return np.asarray(ending + (start - ending) * np.exp(-k * hours))


def stirred(seed: int, hours: Array, k: float, respiration: float, sd: float) -> Array:
    """The same with water that wanders: independent shocks between readings, each decaying with K."""
    shocks = np.random.default_rng(seed).normal(0.0, sd, len(hours))
    wander = np.zeros(len(hours))
    for place in range(1, len(hours)):
        wander[place] = wander[place - 1] * np.exp(-k * (hours[place] - hours[place - 1])) + shocks[place]
    return night(hours, k, respiration) + wander


def test_published_night() -> None:
    """True K and ER through the step, and the plain difference slope (2/dt) tanh(K dt/2) of the same readings."""
    found = night_regression(np.arange(9.0), PUBLISHED, 8.11)
    assert found.k_per_h.value == pytest.approx(0.35, abs=0.001)
    assert found.respiration_mg_l_h.value == pytest.approx(-0.25, abs=0.002)
    assert found.slope_per_h == pytest.approx(0.3464703, abs=0.0005)
    assert found.intercept_mg_l_h == pytest.approx(-0.2474788, abs=0.0005)
    assert found.told
    assert found.warnings == ()


def test_same_as_the_textbook_line() -> None:
    """With even steps: slope, intercept and r2 of scipy's linregress, and its standard error where steps are short."""
    oxygen = stirred(5, NIGHT_H, 0.5, -0.4, 0.01)
    found = night_regression(NIGHT_H, oxygen, 8.5)
    line = linregress(8.5 - (oxygen[1:] + oxygen[:-1]) / 2, np.diff(oxygen) * 12)
    assert found.slope_per_h == pytest.approx(line.slope, rel=1e-9)
    assert found.intercept_mg_l_h == pytest.approx(line.intercept, rel=1e-9)
    assert found.r2 == pytest.approx(line.rvalue**2, rel=1e-9)
    assert found.k_per_h.se == pytest.approx(line.stderr, rel=0.005)
    assert found.respiration_mg_l_h.se == pytest.approx(line.intercept_stderr, rel=0.005)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.05, 2.0), st.floats(-2.0, -0.05), st.integers(0, 10_000))
def test_uneven_steps_are_recovered(k: float, respiration: float, seed: int) -> None:
    """Any order and any steps between a minute and a quarter of an hour."""
    random = np.random.default_rng(seed)
    hours = np.cumsum(random.uniform(1 / 60, 1 / 4, 40))
    oxygen = night(hours - hours[0], k, respiration, start=20.0, saturation=19.0)
    if oxygen.min() < 0.0:
        return
    order = random.permutation(40)
    found = night_regression(hours[order], oxygen[order], 19.0)
    assert found.k_per_h.value == pytest.approx(k, rel=1e-5, abs=1e-7)
    assert found.respiration_mg_l_h.value == pytest.approx(respiration, rel=1e-4)


def test_saturation_that_moves_with_temperature() -> None:
    """Water cooling through the night: recovered from small steps of the differential equation."""
    saturation = 8.0 + 0.12 * NIGHT_H
    oxygen, now = [], 8.6
    for place in range(len(NIGHT_H)):
        oxygen.append(now)
        for tick in range(100):
            now += (0.7 * (saturation[place] + 0.01 * tick / 100 - now) - 0.5) / 1200
    found = night_regression(NIGHT_H, oxygen, saturation)
    assert found.k_per_h.value == pytest.approx(0.7, rel=0.002)
    assert found.respiration_mg_l_h.value == pytest.approx(-0.5, rel=0.002)


def test_intervals_hold_as_often_as_they_say() -> None:
    """Water that wanders by 0.01 mg/L between readings: 95 % intervals in 300 simulated nights."""
    held = np.zeros(2)
    for seed in range(SEEDS):
        found = night_regression(NIGHT_H, stirred(seed, NIGHT_H, 0.5, -0.4, 0.01), 8.5)
        k, respiration = found.k_per_h, found.respiration_mg_l_h
        held += [k.low <= 0.5 <= k.high, respiration.low <= -0.4 <= respiration.high]
    assert np.all(held >= FEWEST), held
    assert np.all(held <= MOST), held


def test_probe_noise_makes_the_errors_too_large_never_too_small() -> None:
    """0.03 mg/L of probe noise: intervals hold at least as often as they say; blocks make them four times narrower."""
    held, widths = 0, np.zeros(2)
    for seed in range(SEEDS):
        oxygen = night(NIGHT_H, 0.5, -0.4) + np.random.default_rng(seed).normal(0.0, 0.03, len(NIGHT_H))
        raw = night_regression(NIGHT_H, oxygen, 8.5)
        blocks = night_regression(NIGHT_H, oxygen, 8.5, block_h=0.5)
        held += blocks.k_per_h.low <= 0.5 <= blocks.k_per_h.high
        widths += [raw.k_per_h.se, blocks.k_per_h.se]
    assert held >= FEWEST
    assert widths[0] > 4.0 * widths[1]


def test_blocks_keep_the_exact_slope() -> None:
    """Means over blocks of an exponential are an exponential of the same rate."""
    found = night_regression(NIGHT_H, night(NIGHT_H, 1.2, -0.9), 8.5, block_h=0.5)
    assert found.k_per_h.value == pytest.approx(1.2, rel=1e-4)
    assert found.step_h == pytest.approx(0.5)
    assert found.pairs == 17
    holed = np.delete(NIGHT_H, slice(18, 23))
    # One reading of six is left in the fourth block: its mean would not stand for the block.
    assert night_regression(holed, night(holed, 1.2, -0.9), 8.5, block_h=0.5).pairs == 16


def test_a_night_without_a_slope_is_told() -> None:
    """Oxygen already at its equilibrium: noise alone tells no rate, in 95 % of 100 nights at least."""
    silent = 0
    for seed in range(100):
        oxygen = 7.7 + np.random.default_rng(seed).normal(0.0, 0.01, len(NIGHT_H)).cumsum() * 0.01
        found = night_regression(NIGHT_H, oxygen, 8.5)
        silent += not found.told
        if not found.told:
            assert any("does not tell the exchange rate" in words for words in found.warnings)
    assert silent >= 95


def test_rates_that_water_cannot_have_are_told() -> None:
    """A probe pulled out of the water warms in the air and reads more and more: K below zero, oxygen from nowhere."""
    found = night_regression(NIGHT_H, 5.0 + 0.02 * np.exp(0.5 * NIGHT_H), 8.5)
    assert not found.told
    assert found.k_per_h.value == pytest.approx(-0.5, rel=1e-5)
    assert any("below zero, which water cannot do" in words for words in found.warnings)
    assert any("oxygen comes from nowhere in the dark" in words for words in found.warnings)


def test_missing_values_gaps_and_doubles() -> None:
    """Missing rows are counted; no pair spans a gap; a reading stored twice counts once."""
    oxygen = night(NIGHT_H, 0.5, -0.4)
    spoiled = oxygen.copy()
    spoiled[20:40] = np.nan
    saturation = np.full(len(NIGHT_H), 8.5)
    saturation[60] = np.nan
    found = night_regression(np.append(NIGHT_H, NIGHT_H[5]), np.append(spoiled, oxygen[5]), np.append(saturation, 8.5))
    assert found.left_out == 21
    # 108 readings: 21 missing leave 87, the gap parts them into two runs, the single missing one is stepped over.
    assert found.pairs == 85
    assert found.k_per_h.value == pytest.approx(0.5, rel=1e-4)


def test_a_zero_in_the_record_never_becomes_a_rate() -> None:
    """Readings of zero between good ones: K comes out impossible or untold, with words."""
    oxygen = night(NIGHT_H, 0.5, -0.4)
    oxygen[[50, 51, 53]] = 0.0
    found = night_regression(NIGHT_H, oxygen, 8.5)
    assert not found.told
    oxygen[:] = np.where(np.arange(len(NIGHT_H)) % 2, 9.0, 1.0)
    with pytest.raises(InputError, match=r"deficit stands still|look for a jump or a zero"):
        night_regression(NIGHT_H, oxygen, 8.5)


def test_what_cannot_be_used_is_said() -> None:
    """Too few readings, a deficit that stands still, steps too long for the rate, values out of range."""
    with pytest.raises(InputError, match="5 usable readings of 5, at least 6"):
        night_regression(np.arange(5.0), PUBLISHED[:5], 8.11)
    with pytest.raises(InputError, match="0 usable readings of 9"):
        night_regression(np.arange(9.0), PUBLISHED, float("nan"))
    with pytest.raises(InputError, match=r"deficit stands still at 1\.11 mg/L"):
        night_regression(np.arange(9.0), np.full(9, 7.0), 8.11)
    with pytest.raises(InputError, match="4 pairs of neighbouring readings, at least 5"):
        night_regression(NIGHT_H, night(NIGHT_H, 0.5, -0.4), 8.5, block_h=2.0)
    with pytest.raises(InputError, match="not a number"):
        night_regression(np.arange(9.0), PUBLISHED, "full")
    with pytest.raises(OutOfRange, match="saturation 95 mg/L"):
        night_regression(np.arange(9.0), PUBLISHED, 95.0)
    with pytest.raises(OutOfRange, match=r"block 24 h is outside 0\.01 to 6 h"):
        night_regression(np.arange(9.0), PUBLISHED, 8.11, block_h=24.0)
