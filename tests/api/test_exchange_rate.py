"""Exchange rates at other temperatures, Schmidt numbers and transfer rates, beside printed figures."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from api.domain.errors import OutOfRange
from api.science.exchange import (
    alpha_factor,
    c_star_20_mg_l,
    equilibrium_mg_l,
    hours_between,
    k20_from,
    k600_from,
    k_at,
    oxygen_after_mg_l,
    schmidt_oxygen,
    schmidt_oxygen_1992,
    sotr_g_per_h,
)

INF = float("inf")


@pytest.mark.parametrize(("temperature_c", "factor"), [(15, 1.1259), (20, 1.0), (25, 0.8881784), (30, 0.7888609)])
def test_theta(temperature_c: float, factor: float) -> None:
    """ASCE/EWRI 2-06: kLa20 / kLaT = 1.024 ** (20 - T); and back."""
    assert k20_from(1.0, temperature_c) == pytest.approx(factor, abs=1e-6)
    assert k_at(k20_from(3.7, temperature_c), temperature_c) == pytest.approx(3.7, rel=1e-12)


@pytest.mark.parametrize(
    ("temperature_c", "raymond", "wanninkhof", "k600"),
    [(20.0, 531.2, 530.456, 0.9409215), (26.667, 387.194, 384.4179, 0.8033202), (30.0, 331.4, 315.804, 0.7431913)],
)
def test_schmidt(temperature_c: float, raymond: float, wanninkhof: float, k600: float) -> None:
    """Raymond et al. 2012, Wanninkhof 1992, and the scaling of Jähne et al. 1987 with Raymond's number."""
    assert schmidt_oxygen(temperature_c) == pytest.approx(raymond, abs=0.01)
    assert schmidt_oxygen_1992(temperature_c) == pytest.approx(wanninkhof, abs=0.01)
    assert k600_from(1.0, schmidt_oxygen(temperature_c)) == pytest.approx(k600, abs=1e-5)


def test_alpha() -> None:
    """Sincero & Sincero, Example 9.3: 2.25 /h in the waste, 2.46 /h in tap water, alpha 0.915."""
    assert alpha_factor(2.25, 2.46) == pytest.approx(0.915, abs=0.0005)


def test_transfer_rate_at_standard_conditions() -> None:
    """ASCE/EWRI 2-06 on Hendricks' tank: C* 7.15 at 23 Cel and 623 mmHg is 9.245 at 20 Cel and one atmosphere."""
    steady = c_star_20_mg_l(7.15, 23.0, 623 / 760 * 101.325)
    assert steady == pytest.approx(9.245154, abs=0.005)
    assert sotr_g_per_h(4.0, 9.0, 100.0) == pytest.approx(3.6)


def test_balance_meets_demand() -> None:
    """C* - R/k; without exchange oxygen only falls, or stands still without demand."""
    assert equilibrium_mg_l(8.0, 6.0, 1.2) == pytest.approx(7.8)
    assert [equilibrium_mg_l(8.0, 0.0, demand) for demand in (0.5, 0.0, -0.5)] == [-INF, 8.0, INF]


def test_time_to_a_limit() -> None:
    """The straight line without exchange, its mirror with it, never beyond the equilibrium, none where it stands."""
    assert hours_between(7.8, 3.0, 8.0, 0.0, 1.2) == pytest.approx(4.0)
    assert hours_between(7.8, 3.0, 8.0, 1e-12, 1.2) == pytest.approx(4.0)
    hours = hours_between(7.8, 3.0, 8.0, 0.1, 1.0)
    assert oxygen_after_mg_l(hours, 7.8, 8.0, 0.1, 1.0) == pytest.approx(3.0, abs=1e-12)
    assert hours_between(2.0, 7.0, 8.0, 0.5, 0.1) > 0.0
    assert hours_between(7.8, 3.0, 8.0, 0.2, 1.0) == INF
    assert hours_between(7.8, 8.5, 8.0, 0.2, 1.0) == INF
    assert hours_between(5.0, 5.0, 8.0, 0.2, 1.0) == 0.0


def test_balance_by_small_steps() -> None:
    """The closed form beside the differential equation walked in steps of a thousandth of an hour."""
    oxygen = 7.5
    for _ in range(6000):
        middle = oxygen + 0.0005 * (0.3 * (8.2 - oxygen) - 0.9)
        oxygen += 0.001 * (0.3 * (8.2 - middle) - 0.9)
    assert oxygen_after_mg_l(6.0, 7.5, 8.2, 0.3, 0.9) == pytest.approx(oxygen, abs=1e-6)


OUTSIDE: list[tuple[Callable[..., float], tuple[float, ...], str]] = [
    (k_at, (-1.0, 20.0), "exchange rate -1 1/h is outside 0"),
    (k_at, (1.0, 41.0), "temperature 41 Cel is outside 0 to 40"),
    (k20_from, (1.0, 20.0, 1.2), "temperature coefficient 1.2"),
    (k20_from, (float("nan"), 20.0), "exchange rate nan"),
    (schmidt_oxygen, (3.9,), "temperature 3.9 Cel is outside 4 to 35"),
    (schmidt_oxygen_1992, (30.1,), "temperature 30.1 Cel is outside 0 to 30"),
    (k600_from, (1.0, 0.0), "Schmidt number 0"),
    (alpha_factor, (1.0, 0.0), "exchange rate in clean water 0"),
    (alpha_factor, (INF, 1.0), "exchange rate inf"),
    (c_star_20_mg_l, (7.15, 23.0, 623.0), "pressure 623 kPa"),
    (c_star_20_mg_l, (95.0, 23.0), "steady oxygen 95 mg/L"),
    (sotr_g_per_h, (1.0, 9.0, 0.0), "volume 0 L"),
    (equilibrium_mg_l, (8.0, -0.1, 1.0), "exchange rate -0.1"),
    (oxygen_after_mg_l, (-1.0, 7.0, 8.0, 0.1, 1.0), "time -1 h"),
]


@pytest.mark.parametrize(("function", "given", "words"), OUTSIDE, ids=[row[2] for row in OUTSIDE])
def test_outside_the_range_is_refused(function: Callable[..., float], given: tuple[float, ...], words: str) -> None:
    """The refusal names the value and its range."""
    with pytest.raises(OutOfRange, match=words):
        function(*given)


def test_the_service_starts_light() -> None:
    """Importing the door loads no SciPy; the first fit does."""
    code = "import api.science.exchange, sys; print(any(name.split('.')[0] == 'scipy' for name in sys.modules))"
    root = Path(__file__).parents[2]
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=root)
    assert out.stdout.strip() == "False"
