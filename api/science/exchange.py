"""Oxygen exchange between water and air: the one door to its tests, fits, forecasts and rates.

Only names of the files beside it stand here. Must not do: hold a formula of its own.
"""

from __future__ import annotations

from api.science.air_off_on import AirPhase, fit_air_off, fit_air_on
from api.science.air_test import AirTest, fit_air_test
from api.science.exchange_balance import equilibrium_mg_l, hours_between, oxygen_after_mg_l
from api.science.exchange_fit import Estimate
from api.science.exchange_forecast import HoursTo, hours_to
from api.science.exchange_rate import (
    alpha_factor,
    c_star_20_mg_l,
    k20_from,
    k600_from,
    k_at,
    schmidt_oxygen,
    schmidt_oxygen_1992,
    sotr_g_per_h,
)
from api.science.log_deficit import LogDeficit, log_deficit
from api.science.night_regression import NightRegression, night_regression
from api.science.reaeration import Reaeration, fit_reaeration

__all__ = [
    "AirPhase",
    "AirTest",
    "Estimate",
    "HoursTo",
    "LogDeficit",
    "NightRegression",
    "Reaeration",
    "alpha_factor",
    "c_star_20_mg_l",
    "equilibrium_mg_l",
    "fit_air_off",
    "fit_air_on",
    "fit_air_test",
    "fit_reaeration",
    "hours_between",
    "hours_to",
    "k20_from",
    "k600_from",
    "k_at",
    "log_deficit",
    "night_regression",
    "oxygen_after_mg_l",
    "schmidt_oxygen",
    "schmidt_oxygen_1992",
    "sotr_g_per_h",
]
