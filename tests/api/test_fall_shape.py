"""How suddenly oxygen fell, on falls written out from the oxygen balance: dC/dt = k (full - C) - R, first order."""

from __future__ import annotations

from collections.abc import Callable
from math import exp

import numpy as np
import pytest

from api.domain.band import Side
from api.domain.cause import CauseName
from api.domain.quantity import Quantity
from api.judge.fall_shape import FallShape
from api.judge.first_order import Approach
from api.judge.natures import NATURES
from api.judge.tank_watch import TankWatch

MINUTE_MS = 60_000
FULL_MG_L, EXCHANGE_PER_H, DEMAND_MG_L_H = 8.26, 2.0, 1.6
USUAL_MG_L = FULL_MG_L - DEMAND_MG_L_H / EXCHANGE_PER_H


def stopped(hours: float) -> float:
    """The air stops: 0.08 per hour of exchange are left; the exact solution."""
    rest = FULL_MG_L - DEMAND_MG_L_H / 0.08
    return USUAL_MG_L if hours < 0 else rest + (USUAL_MG_L - rest) * exp(-0.08 * hours)


def rotting(hours: float) -> float:
    """Demand rises by 2.4 mg/L/h each hour with the air on: the deficit follows, half an hour (1/k) behind."""
    if hours < 0:
        return USUAL_MG_L
    grown, k = 2.4, EXCHANGE_PER_H
    return USUAL_MG_L - grown / k * (hours - (1.0 - exp(-k * hours)) / k)


def followed(water: Callable[[float], float], minutes: int) -> tuple[FallShape, Approach]:
    """The shape after so many minutes of a fall."""
    shape, approach, chance = FallShape(), Approach(NATURES[Quantity.OXYGEN]), np.random.default_rng(3)
    for minute in range(-240, minutes + 1):
        said = water(minute / 60) + 0.015 * chance.standard_normal()
        approach.take(10**9 + minute * MINUTE_MS, said, 0.015)
        shape.keep(approach)
    return shape, approach


def test_what_stopped_came_suddenly_and_what_grew_came_little_by_little() -> None:
    """Forty minutes after the air stopped three quarters came in the last half hour; hours later, half."""
    shape, approach = followed(stopped, 40)
    assert shape.sudden(approach, 0.1)[0] == pytest.approx(0.75, abs=0.08)
    assert shape.steepest(approach.time_ms) == pytest.approx(-1.55, abs=0.3)
    shape, approach = followed(stopped, 180)
    assert shape.sudden(approach, 0.1)[0] == pytest.approx(0.5, abs=0.05)
    shape, approach = followed(rotting, 120)
    assert shape.sudden(approach, 0.1)[0] == pytest.approx(0.55, abs=0.08)


def test_water_that_stands_has_no_shape() -> None:
    """Neither has a fall smaller than the least, nor one whose hour is not known."""
    shape, approach = followed(lambda hours: USUAL_MG_L, 60)
    assert shape.sudden(approach, 0.1) == (0.5, 0.5)
    assert shape.steepest(approach.time_ms) == 0.0
    fresh = FallShape()
    fresh.keep(approach)
    assert fresh.sudden(approach, 0.1) == (0.5, 0.5)


@pytest.mark.parametrize(("water", "minutes", "name"), [(stopped, 40, "lost_air"), (rotting, 75, "rising_demand")])
def test_the_tank_is_told_apart(water: Callable[[float], float], minutes: int, name: str) -> None:
    """The same probe in the same tank: air that stopped, and demand that grew."""
    watch, chance = TankWatch(), np.random.default_rng(5)
    for minute in range(-26 * 60, minutes + 1):
        said = round(water(minute / 60) + 0.015 * chance.standard_normal(), 2)
        watch.take("p", Quantity.TEMPERATURE, 10**9 + minute * MINUTE_MS, 25.0 + 0.01 * (minute % 3), None, 60.0)
        watch.take("p", Quantity.OXYGEN, 10**9 + minute * MINUTE_MS, said, None, 60.0)
    causes = watch.why("p", Quantity.OXYGEN, Side.LOW, 10**9 + minutes * MINUTE_MS)
    assert causes[0].name is CauseName(name)
    told = {CauseName.LOST_AIR: "suddenly", CauseName.RISING_DEMAND: "little by little"}[causes[0].name]
    assert any(told in sentence for sentence in causes[0].evidence)
