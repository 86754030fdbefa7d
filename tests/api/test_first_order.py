"""Time left on water that follows first-order laws exactly, on a published aeration record, and on noise alone."""

from __future__ import annotations

from math import exp, inf, log

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.domain.quantity import Quantity
from api.judge.first_order import Approach, summed_up
from api.judge.natures import NATURES

MINUTE_MS = 60_000
HEAT, OXYGEN = NATURES[Quantity.TEMPERATURE], NATURES[Quantity.OXYGEN]


def test_newtons_cooling_is_foretold() -> None:
    """A heater dies at 26 Cel, room 18 Cel, time constant 8.2 h (46 L open tank, facts of the trade, from memory).

    Newton's law of cooling: T = room + (T0 - room) exp(-t / tau), so 20 Cel comes after tau ln(8 / 2).
    """
    tau, room, chance = 8.2, 18.0, np.random.default_rng(1)
    approach = Approach(HEAT)
    for minute in range(180):
        water = room + 8.0 * exp(-minute / 60 / tau)
        approach.take(minute * MINUTE_MS, water + 0.02 * chance.standard_normal(), 0.02)
    left_h = tau * log(8.0 / 2.0) - 179 / 60
    ahead = approach.time_to(20.0)
    assert ahead is not None
    assert ahead.left_s / 3600 == pytest.approx(left_h, rel=0.15)
    assert ahead.low_s / 3600 <= left_h <= (ahead.high_s or inf) / 3600
    assert approach.time_to(27.0) is None


def test_air_that_stopped_is_foretold() -> None:
    """100 L, 500 g of crayfish, 25 Cel, 0.2 mg/L/h of the water: 7.9 mg/L, then the air stops.

    dC/dt = k (8.26 - C) - R with k = 0.07 per hour (kL 2 cm/h over 0.3 m) and R = 0.6 mg/L/h; its solution is exact.
    """
    k, full, demand, chance = 0.07, 8.26, 0.6, np.random.default_rng(2)
    rest, approach = full - demand / k, Approach(OXYGEN)
    for minute in range(-120, 0):
        approach.take(minute * MINUTE_MS + 10**9, 7.9 + 0.02 * chance.standard_normal(), 0.02)
    for minute in range(90):
        water = rest + (7.9 - rest) * exp(-k * minute / 60)
        approach.take(minute * MINUTE_MS + 10**9, water + 0.02 * chance.standard_normal(), 0.02)
    assert abs(approach.since_ms - 10**9) < 20 * MINUTE_MS
    for limit, within in ((5.0, 0.25), (3.0, 0.40)):
        left_h = log((7.9 - rest) / (limit - rest)) / k - 89 / 60
        ahead = approach.time_to(limit)
        assert ahead is not None
        assert ahead.left_s / 3600 == pytest.approx(left_h, rel=within)
        assert ahead.low_s / 3600 <= left_h <= (ahead.high_s or inf) / 3600


def test_a_published_aeration_record() -> None:
    """Hendricks, Table 18.5: 18 L of water aerated at 23 Cel; from the first 13 minutes, when 6.2 mg/L will be there.

    It was at minute 21. The record is rounded to 0.1 mg/L and rises sixtyfold faster than a starved tank falls.
    """
    minutes = [0, 1, 2, 3, 4, 5, 7, 9, 11, 13, 15, 17, 19, 21]
    oxygen = [2.0, 2.0, 2.1, 2.5, 2.6, 3.1, 3.4, 4.2, 4.4, 5.1, 5.4, 5.7, 5.8, 6.2]
    approach = Approach(OXYGEN)
    for minute, said in zip(minutes[:10], oxygen, strict=False):
        approach.take(minute * MINUTE_MS, said, 0.1)
    ahead = approach.time_to(6.2)
    assert ahead is not None
    assert ahead.low_s / 60 <= 21 - 13 <= (ahead.high_s or inf) / 60


@settings(max_examples=40, deadline=None)
@given(noise=st.floats(0.01, 0.2), seed=st.integers(0, 10_000), every_min=st.sampled_from([1, 2, 5, 10]))
def test_noise_alone_is_steady(noise: float, seed: int, every_min: int) -> None:
    """Whatever the scatter and the pace: hardly a look in which a slope is claimed that matters."""
    chance, approach, claimed = np.random.default_rng(seed), Approach(OXYGEN), 0
    for look in range(300):
        approach.take(look * every_min * MINUTE_MS, 7.0 + noise * chance.standard_normal(), noise)
        claimed += look > 30 and not approach.steady and approach.odds_within(3.0, 4.0)[0] > 0.9
    assert claimed == 0


def test_eighty_percent_intervals_hold() -> None:
    """First-order falls of many rates and noises: 80 % intervals hold in 70 to 99 %; on purpose none is narrow."""
    chance, held, told = np.random.default_rng(4), 0, 0
    for _ in range(120):
        k, rest, noise = chance.uniform(0.03, 0.3), chance.uniform(-12.0, 1.0), chance.uniform(0.01, 0.06)
        approach, hours = Approach(OXYGEN), log((7.5 - rest) / (3.0 - rest)) / k
        for minute in range(round(hours * 30)):
            water = rest + (7.5 - rest) * exp(-k * minute / 60)
            approach.take(minute * MINUTE_MS, water + noise * chance.standard_normal(), noise)
        ahead = approach.time_to(3.0)
        if ahead is not None and approach.looks > 10:
            left_s = hours * 3600 - (approach.time_ms / 1000)
            told += 1
            held += ahead.low_s <= left_s <= (ahead.high_s or inf)
    assert told > 90
    assert 0.70 <= held / told <= 0.99


def test_what_levels_off_is_not_heading_there() -> None:
    """Demand that rose with the air on: k 2 per hour, rest 6 mg/L; the danger limit is not to be expected."""
    approach, chance = Approach(OXYGEN), np.random.default_rng(5)
    for minute in range(90):
        water = 6.0 + 1.5 * exp(-2.0 * minute / 60)
        approach.take(minute * MINUTE_MS, water + 0.015 * chance.standard_normal(), 0.015)
    assert approach.steady or approach.time_to(3.0) is None


@given(
    st.lists(st.tuples(st.floats(0.01, 100.0), st.floats(0.01, 1.0)), min_size=3, max_size=40),
    st.lists(st.floats(0.01, 1.0), max_size=10),
)
def test_quantiles_are_in_order(finite: list[tuple[float, float]], never: list[float]) -> None:
    """Low, median and high in order, inside what was given; more never than ever is no time at all."""
    whole = sum(share for _, share in finite) + sum(never)
    crossings = [(hours, share / whole) for hours, share in finite] + [(inf, share / whole) for share in never]
    found = summed_up(3.0, crossings)
    if found is None:
        assert sum(never) / whole > 0.4
    else:
        assert found.low_s <= found.left_s <= (found.high_s or inf)
        assert min(hours for hours, _ in finite) * 3600 <= found.left_s * 1.000001
        assert found.odds == pytest.approx(1.0 - sum(never) / whole)


def weakening(hours: float, ends: float) -> float:
    """Air that weakens: the fall grows by 0.35 of itself an hour until ``ends``, then goes on straight."""
    grown = 0.35 * (exp(0.35 * min(hours, ends)) - 1.0) / 0.35
    return 7.4 - grown - max(0.0, hours - ends) * 0.35 * exp(0.35 * ends)


@pytest.mark.parametrize("ends", [3.5, 9.0])
def test_a_growing_fall_may_go_on_or_stop_growing(ends: float) -> None:
    """What was seen until 3.5 h is the same; 3 mg/L comes at another time, and the interval of both is told."""
    approach, chance = Approach(OXYGEN), np.random.default_rng(6)
    for minute in range(-180, 210):
        water = weakening(max(0.0, minute / 60), ends)
        approach.take(minute * MINUTE_MS + 10**9, water + 0.015 * chance.standard_normal(), 0.015)
    left_h = next(h for h in np.arange(0.0, 9.0, 0.01) if weakening(209 / 60 + h, ends) <= 3.0)
    assert approach.share_slower(0.0) > 0.5
    ahead = approach.time_to(3.0)
    assert ahead is not None
    assert ahead.low_s / 3600 <= left_h <= (ahead.high_s or inf) / 3600


def test_time_goes_on_between_looks() -> None:
    """Ten minutes after the newest look ten minutes less are left; never less than none."""
    approach = Approach(OXYGEN)
    for minute in range(120):
        approach.take(minute * MINUTE_MS, 7.5 - 0.02 * minute, 0.01)
    now = approach.time_to(3.0)
    later = approach.time_to(3.0, approach.time_ms + 10 * MINUTE_MS)
    much_later = approach.time_to(3.0, approach.time_ms + 600 * MINUTE_MS)
    assert now is not None
    assert later is not None
    assert much_later is not None
    assert now.left_s - later.left_s == pytest.approx(600.0)
    assert now.low_s - later.low_s == pytest.approx(600.0)
    assert much_later.low_s == 0.0


def test_odds_grow_with_the_hours_allowed() -> None:
    """One call for several horizons; away from the limit there are none."""
    approach = Approach(OXYGEN)
    for minute in range(120):
        approach.take(minute * MINUTE_MS, 7.5 - 0.02 * minute, 0.01)
    odds = approach.odds_within(3.0, 0.5, 2.0, 12.0)
    assert odds == sorted(odds)
    assert odds[0] < 0.1 < 0.8 < odds[2]
    assert approach.odds_within(9.0, 1.0, 4.0) == [0, 0]
