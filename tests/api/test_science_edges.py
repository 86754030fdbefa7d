"""What formulas do with numbers of other kinds, with what is no number, and at the rim of their ranges."""

from __future__ import annotations

import math
from collections.abc import Callable
from inspect import getmembers, isfunction
from math import inf, nan
from typing import Any

import numpy as np
import pytest

from api.domain.errors import OutOfRange, UnknownUnit
from api.domain.quantity import Quantity
from api.science import ammonia, conductivity, hardness, other_pressure, other_solubility, oxygen, pressure
from api.science.arrays import CHUNK, outside, spans_of
from api.science.formulas import FORMULAS
from api.science.units import converter

MODULES = (ammonia, conductivity, hardness, other_pressure, other_solubility, oxygen, pressure)
DECLARED: list[Callable[..., Any]] = [
    one for module in MODULES for _, one in getmembers(module, isfunction) if spans_of(one)
    and one.__module__ == module.__name__
]  # fmt: skip
NUMERIC = [one for one in DECLARED if one not in (hardness.hardness_in, hardness.hardness_from)]


@pytest.mark.parametrize("formula", DECLARED, ids=[one.__name__ for one in DECLARED])
def test_every_formula_is_told_on_the_page(formula: Callable[..., Any]) -> None:
    """What declares a range stands among the formulas shown, with its source, and its docstring tells the range."""
    assert formula in [one.function for one in FORMULAS]
    for span in spans_of(formula):
        text = formula.__doc__ or ""
        assert f"{span.low:g} to {span.high:g}" in text or "as for ``" in text, span
        assert "References" in text or "as for ``" in text


@pytest.mark.parametrize("formula", NUMERIC, ids=[one.__name__ for one in NUMERIC])
def test_numbers_of_any_kind_give_a_plain_float(formula: Callable[..., Any]) -> None:
    """Whole numbers, NumPy's own numbers and arrays of no dimension are single numbers, and are refused like them."""
    inside = [span.low + 0.3 * (span.high - span.low) for span in spans_of(formula)]
    wanted = formula(*inside)
    for kind in (np.float64, np.array):
        found = formula(*(kind(one) for one in inside))
        assert type(found) is float
        assert found == wanted
    assert type(formula(*(round(one) for one in inside))) is float
    for wrong in (np.float32(nan), np.float64(inf), np.array(-inf), -(10**9)):
        with pytest.raises(OutOfRange):
            formula(wrong, *inside[1:])


@pytest.mark.parametrize("wrong", [True, "20", None, b"20", 1j, np.array([True]), np.array(["20"]), [[1j]]])
def test_what_is_no_number_is_refused(wrong: Any) -> None:
    """Named with what was given; truth values are a mistake, not 0 and 1."""
    with pytest.raises(TypeError, match="temperature takes numbers"):
        oxygen.saturation_mg_l(wrong)
    with pytest.raises(TypeError, match="pressure takes numbers"):
        oxygen.saturation_mg_l(np.array([20.0]), wrong)


def test_a_number_missing_in_a_list_is_nan() -> None:
    """None among numbers is how JSON tells of a gap."""
    assert np.isnan(oxygen.saturation_mg_l(np.array([20.0, None]))).tolist() == [False, True]


@pytest.mark.parametrize(
    "formula",
    [oxygen.umol_from_mg_l, oxygen.mg_from_umol_l, oxygen.ml_from_mg_l, oxygen.mg_from_ml_l,
     ammonia.nh3_from_n_mg_l, ammonia.n_from_nh3_mg_l],
)  # fmt: skip
@pytest.mark.parametrize("wrong", [nan, inf, -inf, -100.0, 1e9])
def test_conversions_refuse_amounts_that_cannot_be(formula: Callable[[float], float], wrong: float) -> None:
    """Oxygen and ammonia far below zero or beyond anything water holds."""
    with pytest.raises(OutOfRange):
        formula(wrong)


def test_settings_have_ranges_too() -> None:
    """The growth per degree, the sea's pressure, the air's temperature; none divides by zero or leaves its source."""
    with pytest.raises(OutOfRange, match="share per degree"):
        conductivity.conductance_25c_us_cm(500.0, 24.0, 1.0)
    with pytest.raises(OutOfRange, match="sea pressure"):
        conductivity.practical_salinity(42.0, 15.0, -1.0)
    with pytest.raises(OutOfRange, match="air temperature"):
        pressure.station_from_sea_level_kpa(101.3, 500.0, -273.15)


def test_a_result_beyond_its_scale_is_refused() -> None:
    """PSS-78 ends at 42 (UNESCO 44): a single number is refused, an array has NaN there, and the mask says so."""
    with pytest.raises(OutOfRange, match="practical salinity"):
        conductivity.practical_salinity(100.0, 0.0)
    both = np.array([42.914, 100.0]), np.array([15.0, 0.0])
    assert np.isnan(conductivity.practical_salinity(*both)).tolist() == [False, True]
    assert outside(conductivity.practical_salinity, *both).tolist() == [False, True]


def test_one_number_out_of_range_among_arrays() -> None:
    """Nothing anywhere, and nothing divided by zero on the way; it is the array's own rule."""
    found = oxygen.saturation_mg_l(-273.15, np.array([[101.0, 90.0]]))
    assert found.shape == (1, 2)
    assert np.isnan(found).all()


def test_outside_speaks_as_the_formula_does() -> None:
    """Inputs by name, settings beside them, masks left alone, arrays longer than a piece; no ranges, no answer."""
    assert outside(oxygen.saturation_mg_l, temperature_c=[20.0, 99.0], salinity_psu=0.1).tolist() == [False, True]
    assert outside(hardness.hardness_in, "dGH", [-1.0, 5.0]).tolist() == [True, False]
    assert outside(ammonia.acute_criterion_mg_l, 7.0, [20.0, 31.0], salmonids=True).tolist() == [False, True]
    masked = np.ma.MaskedArray([20.0, -9e9, 50.0], mask=[False, True, False])
    assert outside(oxygen.saturation_mg_l, masked).tolist() == [False, False, True]
    assert outside(oxygen.saturation_mg_l, nan).tolist() is True
    many = np.full(3 * CHUNK + 5, 20.0)
    many[[0, CHUNK, -1]] = nan, -1.0, 41.0
    assert np.flatnonzero(outside(oxygen.saturation_mg_l, many)).tolist() == [0, CHUNK, many.size - 1]
    with pytest.raises(TypeError, match="no ranges"):
        outside(math.exp, [1.0])


@pytest.mark.parametrize("formula", NUMERIC, ids=[one.__name__ for one in NUMERIC])
def test_an_element_is_the_number_to_the_last_digits(formula: Callable[..., Any]) -> None:
    """Nine of ten to the last bit, the others within what ``arrays.py`` says: Python's and NumPy's exp differ."""
    spans = spans_of(formula)
    columns = [np.random.default_rng(5).uniform(span.low, span.high, 3000) for span in spans]
    whole = formula(*columns)
    there = np.flatnonzero(np.isfinite(whole))
    singles = np.array([formula(*(float(one[place]) for one in columns)) for place in there])
    away = np.abs(whole[there] - singles)
    assert np.mean(away == 0.0) > 0.9
    assert np.all(away <= (1e-13 if formula is other_solubility.weiss_ml_l else 1e-15) * np.abs(singles))


def test_station_pressure_as_a_weather_service_reduces_it() -> None:
    """The German weather service's manual: p0 = p exp(g/R · H / (T + a·H/2)), dry air, a = 0.0065, R = 287.05."""
    for height_m, station_c in ((200.0, -5.0), (1000.0, 8.5), (2200.0, 20.0), (3000.0, -10.0)):
        down = math.exp(9.80665 / 287.05 * height_m / (station_c + 273.15 + 0.0065 * height_m / 2))
        altitude_m = pressure.EARTH_RADIUS_M * height_m / (pressure.EARTH_RADIUS_M - height_m)
        sea_level_c = station_c + 0.0065 * height_m
        ours = pressure.station_from_sea_level_kpa(101.3, altitude_m, sea_level_c)
        assert ours == pytest.approx(101.3 / down, rel=2e-4)
    assert pressure.station_from_sea_level_kpa(101.325, 1234.0) == pressure.standard_pressure_kpa(1234.0)


def test_units_of_pressure_and_hardness_are_those_of_the_door() -> None:
    """One factor each, in whichever way it is asked for; a unit that is not there names those that are."""
    for code in pressure.KPA_PER:
        assert pressure.kpa_from(3.0, code) == pytest.approx(converter(Quantity.PRESSURE, code)(3.0), rel=1e-15)
    assert pressure.kpa_from(29.92, "[in_i'Hg]") == pytest.approx(101.32, abs=0.005)
    with pytest.raises(UnknownUnit, match="hPa"):
        pressure.kpa_from(3.0, "furlong")
    with pytest.raises(UnknownUnit, match="dGH"):
        hardness.hardness_in("furlong", 3.0)
    with pytest.raises(OutOfRange):
        pressure.kpa_from(nan, "hPa")
