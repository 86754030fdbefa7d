"""One formula for numbers and arrays: the same values; out of range in words, or NaN and a mask."""

from __future__ import annotations

import re
from collections.abc import Callable
from inspect import getsource
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.domain.errors import OutOfRange
from api.science import ammonia, conductivity, exchange, hardness, oxygen, pressure
from api.science.arrays import outside, spans_of
from api.science.formulas import FORMULAS
from api.science.references import BY_KEY

ELEMENTWISE: list[Callable[..., Any]] = [
    oxygen.saturation_mg_l, oxygen.percent_saturation, oxygen.from_percent_mg_l, oxygen.partial_pressure_kpa,
    oxygen.pressure_factor, oxygen.salinity_factor, oxygen.vapour_pressure_kpa, oxygen.theta_per_atm,
    pressure.standard_pressure_kpa, pressure.station_from_sea_level_kpa, conductivity.conductance_25c_us_cm,
    conductivity.salinity_from_conductance, conductivity.practical_salinity, ammonia.ammonium_pka,
    ammonia.unionized_fraction, ammonia.acute_criterion_mg_l, ammonia.chronic_criterion_mg_l,
    hardness.hardness_from_metals_mg_l,
]  # fmt: skip
NAMES = [one.__name__ for one in ELEMENTWISE]


def middles(formula: Callable[..., Any], share: float = 0.4) -> list[float]:
    """Inputs well inside the range."""
    share = 0.2 if formula is conductivity.practical_salinity else share
    return [span.low + share * (span.high - span.low) for span in spans_of(formula)]


@pytest.mark.parametrize("formula", ELEMENTWISE, ids=NAMES)
def test_arrays_are_numbers_side_by_side(formula: Callable[..., Any]) -> None:
    """Each element as the single number gives it, to the last digits; shapes broadcast; longer than one chunk."""
    spans = spans_of(formula)
    rng = np.random.default_rng(3)
    columns = [rng.uniform(span.low, span.high, 20_000) for span in spans]
    whole = formula(*columns)
    there = np.flatnonzero(
        np.isfinite(whole)
    )  # practical salinity ends at 42; not all mixtures of inputs give so little
    assert there.size > 10_000
    for place in there[::997]:
        assert whole[place] == pytest.approx(formula(*(float(one[place]) for one in columns)), rel=1e-13, abs=1e-300)
    first = np.array([[columns[0][0]], [columns[0][1]]])
    rest = [np.array([one[0], one[1], one[2]]) for one in columns[1:]]
    assert formula(first, *rest).shape == ((2, 3) if rest else (2, 1))
    assert type(formula(*(np.float32(one) for one in middles(formula)))) is float
    assert isinstance(formula(*middles(formula)), float)


@pytest.mark.parametrize("formula", ELEMENTWISE, ids=NAMES)
def test_out_of_range(formula: Callable[..., Any]) -> None:
    """A single number is refused with its name and range; in an array it is NaN, and the mask says where."""
    spans, inside = spans_of(formula), middles(formula)
    for place, span in enumerate(spans):
        for wrong in (span.low - 1e-6, span.high * 1.000001 + 1e-6, float("nan"), float("inf"), float("-inf")):
            given_one = [*inside[:place], wrong, *inside[place + 1 :]]
            with pytest.raises(OutOfRange, match=re.escape(span.name)):
                formula(*given_one)
            given = [np.array([a, b]) for a, b in zip(inside, given_one, strict=True)]
            found = formula(*given)
            assert np.isfinite(found[0])
            assert np.isnan(found[1])
            assert outside(formula, *given).tolist() == [False, True]
        for edge in (span.low, span.high) if formula is not conductivity.practical_salinity else ():
            assert np.isfinite(formula(*inside[:place], edge, *inside[place + 1 :]))


@pytest.mark.parametrize("formula", ELEMENTWISE, ids=NAMES)
def test_empty_masked_whole_and_listed(formula: Callable[..., Any]) -> None:
    """Nothing gives nothing, masked stays masked, lists and whole numbers are taken as they are meant."""
    inside = middles(formula)
    assert formula(np.array([]), *inside[1:]).shape == (0,)
    masked = np.ma.MaskedArray([inside[0], inside[0], -9e9], mask=[False, True, False])
    found = formula(masked, *inside[1:])
    assert np.ma.isMaskedArray(found)
    assert np.ma.getmaskarray(found).tolist() == [False, True, True]
    assert found[0] == pytest.approx(formula(*inside), rel=1e-13)
    listed = formula([inside[0], inside[0]], *inside[1:])
    assert listed.tolist() == [pytest.approx(formula(*inside), rel=1e-13)] * 2
    assert formula(round(inside[0]), *inside[1:]) == formula(float(round(inside[0])), *inside[1:])


TEMPERATURE, PRESSURE = st.floats(0.0, 40.0), st.floats(50.7, 111.4)


@given(TEMPERATURE, PRESSURE, st.floats(0.0, 40.0), st.floats(0.01, 20.0))
@settings(max_examples=300, deadline=None)
def test_there_and_back(t_c: float, p_kpa: float, s: float, c_mg_l: float) -> None:
    """Percent and mg/L are each other's inverse; full saturation is 100 %, at the partial pressure of moist air."""
    percent = oxygen.percent_saturation(c_mg_l, t_c, p_kpa, s)
    assert oxygen.from_percent_mg_l(percent, t_c, p_kpa, s) == pytest.approx(c_mg_l, rel=1e-12)
    full = oxygen.saturation_mg_l(t_c, p_kpa, s)
    assert oxygen.percent_saturation(full, t_c, p_kpa, s) == pytest.approx(100.0, rel=1e-14)
    moist = 0.20946 * (p_kpa - oxygen.vapour_pressure_kpa(t_c))
    assert oxygen.partial_pressure_kpa(full, t_c, p_kpa, s) == pytest.approx(moist, rel=1e-12)
    assert oxygen.mg_from_umol_l(oxygen.umol_from_mg_l(c_mg_l)) == pytest.approx(c_mg_l, rel=1e-15)
    assert oxygen.mg_from_ml_l(oxygen.ml_from_mg_l(c_mg_l)) == pytest.approx(c_mg_l, rel=1e-15)


@given(st.floats(0.0, 39.0), st.floats(51.0, 110.0))
@settings(max_examples=200, deadline=None)
def test_warmer_holds_less_and_pressure_holds_more(t_c: float, p_kpa: float) -> None:
    """Physics, whatever the coefficients: less in warm water and at altitude, less with salt."""
    here = oxygen.saturation_mg_l(t_c, p_kpa, 1.0)
    assert oxygen.saturation_mg_l(t_c + 1.0, p_kpa, 1.0) < here
    assert oxygen.saturation_mg_l(t_c, p_kpa + 1.0, 1.0) > here
    assert oxygen.saturation_mg_l(t_c, p_kpa, 2.0) < here


@given(st.floats(0.0, 14.0), st.floats(0.0, 39.0))
@settings(max_examples=200, deadline=None)
def test_more_ammonia_is_poisonous_in_warm_and_basic_water(ph: float, t_c: float) -> None:
    """A share between 0 and 1 that grows with pH and temperature; as N and as NH3 are each other's inverse."""
    here = ammonia.unionized_fraction(ph, t_c)
    assert 0.0 < here < 1.0
    assert ammonia.unionized_fraction(ph, t_c + 1.0) > here
    assert ammonia.n_from_nh3_mg_l(ammonia.nh3_from_n_mg_l(here)) == pytest.approx(here, rel=1e-14)


@pytest.mark.parametrize(
    ("pressure_kpa", "altitude_m", "reduced"),
    [
        (101.3, 2200.0, True),  # entered from a weather report
        (77.5, 2200.0, False),  # the standard atmosphere's own
        (79.5, 2200.0, False),  # fine weather
        (101.3, 0.0, False),
        (101.3, 250.0, False),  # 3 kPa: weather could do it
        (101.3, 600.0, True),
    ],
)
def test_a_pressure_reduced_to_sea_level_is_seen(pressure_kpa: float, altitude_m: float, reduced: bool) -> None:
    """Judgement of the difference from the standard atmosphere."""
    assert pressure.looks_reduced(pressure_kpa, altitude_m) is reduced


def test_sea_level_pressure_to_the_station() -> None:
    """Of the standard atmosphere itself: 1013.25 hPa below 1,000 m is 898.76 hPa there (table, from memory)."""
    assert pressure.station_from_sea_level_kpa(101.325, 1000.0) == pytest.approx(89.876, abs=0.0006)
    assert pressure.kpa_from(760.0, "mm[Hg]") == pytest.approx(101.325)
    assert pressure.kpa_from(1013.25, "hPa") == pytest.approx(101.325)


def test_hardness_of_a_handbook_water() -> None:
    """Standard Methods 2340 B, from memory: hardness = 2.497 Ca + 4.118 Mg."""
    assert hardness.hardness_from_metals_mg_l(40.0, 10.0) == pytest.approx(2.497 * 40 + 4.118 * 10, rel=2e-4)
    for unit in hardness.PER_UNIT_MG_L:
        assert hardness.hardness_from(unit, hardness.hardness_in(unit, 123.0)) == pytest.approx(123.0, rel=1e-14)
    with pytest.raises(OutOfRange):
        hardness.hardness_in("dGH", -1.0)


def test_sources_named_in_docstrings_exist() -> None:
    """Every key under References, in every module of the formulas, is in the list of sources."""
    modules = {one.function.__module__ for one in FORMULAS} | {exchange.k600_from.__module__}
    found: set[str] = set()
    for name in modules:
        module = __import__(name, fromlist=["x"])
        for block in re.findall(
            r"References?\n? *-+\n((?:.|\n)*?)\"\"\"|References: ([^\"]*?)\.?\s*\"\"\"", getsource(module)
        ):
            found |= set(re.findall(r"\b[a-z]+(?:_[a-z0-9]+)*_[0-9o][0-9a-z_]*\b", "".join(block)))
    assert found
    assert found - set(BY_KEY) == set()
