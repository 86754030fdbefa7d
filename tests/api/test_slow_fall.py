"""A probe that fouls is told from water that loses its oxygen: by a fall in a straight line for hours.

Waters are written out from their law, first-order gas exchange against a demand (ASCE/EWRI 2-06, from memory); the
fouled probe loses a share of its reading each day.
"""

from __future__ import annotations

from collections.abc import Callable
from math import exp

import numpy as np
import pytest

from api.judge.slow_fall import CELL_MS, Fall, SlowFall, line

MINUTE_MS, HOUR_MS = 60_000, 3_600_000
FULL_MG_L = 8.1
"""Air-saturated water of 26 degC (Benson & Krause)."""


def seen(
    water: Callable[[float], float], hours: float, warms_k: float = 0.0, jump_h: float = -1.0
) -> tuple[float, Fall] | None:
    """Hours of a fall that began after a day as usual, and what was found; None when nothing was."""
    slow, chance = SlowFall(), np.random.default_rng(3)
    for minute in range(24 * 60 + round(hours * 60)):
        hour = minute / 60.0 - 24.0
        level = water(hour) if hour >= 0 else 7.3 + 0.06 * float(np.sin(hour))
        warm_c = 26.0 + max(0.0, hour) * warms_k
        quiet_ms = round((24.0 + jump_h) * HOUR_MS) if hour >= jump_h else -1
        slow.add(minute * MINUTE_MS, level + 0.01 * chance.standard_normal(), warm_c, 0.004, quiet_ms)
        if slow.found is not None:
            return hour, slow.found
    return None


def fouled(share_a_day: float) -> Callable[[float], float]:
    """The water stays as it was; its probe does not."""
    return lambda hour: 7.3 * (1.0 - share_a_day * hour / 24.0)


def hungry(hour: float) -> float:
    """Demand rises at once to what takes 1.8 mg/L more; exchange of 1.5 an hour."""
    return 7.3 - 1.8 * (1.0 - exp(-1.5 * hour))


def airless(hour: float) -> float:
    """The air weakens evenly to nothing within seven hours: the deficit grows as one over what is left of it."""
    return FULL_MG_L - 0.8 / max(0.02, 1.0 - hour / 7.0)


def stopped(hour: float) -> float:
    """The air stops: 0.1 per hour of exchange left, falling at 0.5 mg/L an hour at first."""
    return 7.3 - 5.0 * (1.0 - exp(-0.1 * hour))


@pytest.mark.parametrize("share_a_day", [0.3, 0.6, 1.0])
def test_a_fouled_probe_is_told_before_it_is_a_milligram_and_half_an_hour_off(share_a_day: float) -> None:
    """And not before it is half a milligram off."""
    found = seen(fouled(share_a_day), 14.0)
    assert found is not None
    hour, fall = found
    assert 0.5 < 7.3 * share_a_day * hour / 24.0
    assert hour < 1.0 / (7.3 * share_a_day / 24.0) + 0.5
    assert fall.slope == pytest.approx(-7.3 * share_a_day / 24.0, rel=0.1)
    assert fall.usual == pytest.approx(7.26, abs=0.05)
    assert fall.since_ms >= 23 * HOUR_MS


@pytest.mark.parametrize("water", [hungry, airless, stopped])
def test_water_that_loses_oxygen_is_not_taken_for_a_probe(water: Callable[[float], float]) -> None:
    """It levels off, or falls faster and faster, or quicker than any cap fouls."""
    assert seen(water, 6.0) is None


def test_water_that_warms_or_was_disturbed_is_not_judged() -> None:
    """Warm water holds less; after a jump the fall may be what the jump began."""
    assert seen(fouled(0.6), 6.0) is not None
    assert seen(fouled(0.6), 6.0, warms_k=0.5) is None
    assert seen(fouled(0.6), 6.0, jump_h=2.0) is None


def test_a_gap_hides_no_fall_and_makes_none() -> None:
    """Means that do not follow each other are not taken for a straight line; a day is needed to know what is usual."""
    slow = SlowFall()
    for cell in range(12):
        slow.add(cell * CELL_MS, 7.3 - 0.1 * cell, 26.0, 0.004, -1)
    assert slow.found is None
    slow = SlowFall()
    for cell in (*range(72), *range(90, 96)):
        slow.add(cell * CELL_MS, 7.3 if cell < 90 else 7.2 - 0.15 * (cell - 90), 26.0, 0.004, -1)
    assert slow.found is None


def test_the_line_is_least_squares() -> None:
    """Beside NumPy's polynomial fit."""
    values = [7.3, 7.1, 7.15, 6.9, 6.8, 6.75, 6.4, 6.45]
    slope, off = line(values)
    hours = np.arange(len(values)) / 3.0
    fit = np.polyfit(hours, values, 1)
    assert slope == pytest.approx(fit[0])
    assert off == pytest.approx(float(np.std(np.array(values) - np.polyval(fit, hours))))


def test_a_fall_from_a_low_evening_is_found_too() -> None:
    """Since the lights went off the water rests 0.4 mg/L below its day, and then the probe begins to foul."""
    slow, found_h = SlowFall(), -1.0
    for minute in range(32 * 60):
        hour = minute / 60.0 - 24.0
        rests = 7.3 if hour < -4.0 else 6.9
        slow.add(minute * MINUTE_MS, rests * (1.0 - 0.7 * max(0.0, hour) / 24.0), 26.0, 0.004, -1)
        if slow.found is not None and found_h < 0:
            found_h = hour
    assert 2.5 < found_h < 24.0 / (0.7 * 6.9) + 0.5
