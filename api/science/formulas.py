"""The formulas in use, for people who ask where a number comes from: what, equation, ranges, source.

Ranges come from the formulas themselves (``arrays.spans_of``). Must not do: compute.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from api.science import (
    ammonia,
    conductivity,
    exchange,
    hardness,
    other_pressure,
    other_solubility,
    oxygen,
    pressure,
)
from api.science.arrays import Span, spans_of


@dataclass(frozen=True, slots=True)
class Formula:
    """One formula: the function that holds it, its equation in plain text, unit, sources, and its published group.

    ``published`` is the group of rows in tests/published that checks it; empty when only properties are tested.
    """

    name: str
    function: Callable[..., Any]
    equation: str
    unit: str
    references: tuple[str, ...]
    published: str = ""

    @property
    def path(self) -> str:
        """Where it stands in the code."""
        return f"{self.function.__module__}.{self.function.__name__}"

    @property
    def spans(self) -> tuple[Span, ...]:
        """Valid ranges of its inputs."""
        return spans_of(self.function)


FORMULAS = (
    Formula("oxygen at full saturation", oxygen.saturation_mg_l,
            "exp(-139.34411 + 1.575701e5/T - 6.642308e7/T^2 + 1.2438e10/T^3 - 8.621949e11/T^4) · F_S · F_P, T = t + 273.15",
            "mg/L", ("benson_krause_1984", "usgs_2011_03"), "oxygen saturation"),
    Formula("pressure factor", oxygen.pressure_factor,
            "F_P = (P - u)(1 - theta·P) / ((1 - u)(1 - theta)), P and u in atm", "1", ("usgs_2011_03",), "pressure factor"),
    Formula("salinity factor", oxygen.salinity_factor, "F_S = exp(-S(0.017674 - 10.754/T + 2140.7/T^2))", "1",
            ("benson_krause_1984", "usgs_2011_03"), "salinity factor"),
    Formula("vapour pressure of water", oxygen.vapour_pressure_kpa, "u = exp(11.8571 - 3840.70/T - 216961/T^2) atm", "kPa",
            ("benson_krause_1984", "usgs_2011_03"), "vapour pressure"),
    Formula("how oxygen departs from an ideal gas", oxygen.theta_per_atm, "theta = 0.000975 - 1.426e-5 t + 6.436e-8 t^2",
            "1/atm", ("benson_krause_1984", "usgs_2011_03"), "vapour pressure"),
    Formula("percent of air saturation", oxygen.percent_saturation, "100 · C / saturation at local pressure", "%",
            ("usgs_2011_03",), "percent saturation"),
    Formula("oxygen from percent", oxygen.from_percent_mg_l, "percent / 100 · saturation at local pressure", "mg/L",
            ("usgs_2011_03",), "percent saturation"),
    Formula("partial pressure of oxygen", oxygen.partial_pressure_kpa, "C / saturation · 0.20946 (P - u)", "kPa",
            ("usgs_2011_03", "scor_142"), "partial pressure"),
    Formula("oxygen, mg/L to µmol/L", oxygen.umol_from_mg_l, "C · 1000 / 31.9988", "umol/L", ("usgs_2011_03",),
            "conversions"),
    Formula("oxygen, µmol/L to mg/L", oxygen.mg_from_umol_l, "C · 31.9988 / 1000", "mg/L", ("usgs_2011_03",),
            "conversions"),
    Formula("oxygen, mg/L to millilitres of gas", oxygen.ml_from_mg_l, "C / 1.42905", "mL/L", ("usgs_2011_03",),
            "conversions"),
    Formula("oxygen, millilitres of gas to mg/L", oxygen.mg_from_ml_l, "C · 1.42905", "mg/L", ("usgs_2011_03",),
            "conversions"),
    Formula("oxygen per litre, second opinion", other_solubility.garcia_gordon_ml_l,
            "exp(A0 + A1·Ts + ... + A5·Ts^5 + S(B0 + ... + B3·Ts^3) + C0·S^2), Ts = ln((298.15 - t)/(273.15 + t))",
            "mL/L", ("garcia_gordon_1992",), "other solubility"),
    Formula("oxygen per kilogram, second opinion", other_solubility.garcia_gordon_umol_kg,
            "exp(A0 + A1·Ts + ... + A5·Ts^5 + S(B0 + ... + B3·Ts^3) + C0·S^2), Ts = ln((298.15 - t)/(273.15 + t))",
            "umol/kg", ("garcia_gordon_1992", "teos_10"), "other solubility"),
    Formula("oxygen solubility until 2011", other_solubility.weiss_ml_l,
            "exp(-173.4292 + 249.6339(100/T) + 143.3483 ln(T/100) - 21.8492(T/100) + S(...))", "mL/L", ("weiss_1970",),
            "other solubility"),
    Formula("station pressure from altitude", pressure.standard_pressure_kpa,
            "101.325 (1 - 0.0065 H / 288.15)^5.255876, H = r z / (r + z), r = 6356766 m", "kPa",
            ("us_standard_atmosphere_1976",), "standard atmosphere"),
    Formula("station pressure from sea-level pressure", pressure.station_from_sea_level_kpa,
            "sea-level pressure · (1 - 0.0065 H / (t0 + 273.15))^5.255876, t0 at sea level, 15 where unknown", "kPa",
            ("us_standard_atmosphere_1976", "wmo_8"), "standard atmosphere"),
    Formula("station pressure below air of one temperature", other_pressure.isothermal_pressure_kpa,
            "101.325 exp(-g M z / (R (t + 273.15)))", "kPa", ("colt_2012",), "other pressure"),
    Formula("station pressure by nomogram", other_pressure.mortimer_pressure_kpa, "101.325 (1 - z / 44300)^5.25", "kPa",
            ("mortimer_1981",), "other pressure"),
    Formula("station pressure above 288 K", other_pressure.hobbs_pressure_kpa, "101.325 (1 - 0.0065 z / 288)^5.25598",
            "kPa", ("hobbs_1977",), "other pressure"),
    Formula("conductance at 25 °C", conductivity.conductance_25c_us_cm, "C / (1 + 0.0191 (t - 25))", "uS/cm",
            ("standard_methods", "nist_1991"), "conductance"),
    Formula("salinity from conductance", conductivity.salinity_from_conductance, "5.572e-4 C + 2.02e-9 C^2", "1",
            ("usgs_2011_03",), "salinity"),
    Formula("practical salinity", conductivity.practical_salinity, "PSS-78 with Hill's extension below 2", "1",
            ("unesco_44", "hill_1986", "teos_10"), "practical salinity"),
    Formula("pKa of ammonium", ammonia.ammonium_pka, "0.09018 + 2729.92/T, T = t + 273.15", "1",
            ("emerson_1975", "bates_pinching_1949"), "ammonia fraction"),
    Formula("un-ionised ammonia", ammonia.unionized_fraction, "1 / (1 + 10^(pKa - pH))", "1",
            ("emerson_1975", "bates_pinching_1949"), "ammonia fraction"),
    Formula("ammonia from its nitrogen", ammonia.nh3_from_n_mg_l, "N · 17.031 / 14.007", "mg/L", ("iupac_2021",),
            "ammonia fraction"),
    Formula("nitrogen of ammonia", ammonia.n_from_nh3_mg_l, "NH3 · 14.007 / 17.031", "mg/L", ("iupac_2021",),
            "ammonia fraction"),
    Formula("ammonia, acute criterion", ammonia.acute_criterion_mg_l,
            "0.7249 (0.0114/(1 + 10^(7.204 - pH)) + 1.6181/(1 + 10^(pH - 7.204))) · min(51.93, 23.12 · 10^(0.036(20 - t)));"
            " with trout or salmon min(0.275/(1 + 10^(7.204 - pH)) + 39/(1 + 10^(pH - 7.204)), the same without 51.93)",
            "mg/L as N", ("epa_2013_ammonia",), "ammonia criteria"),
    Formula("ammonia, chronic criterion", ammonia.chronic_criterion_mg_l,
            "0.8876 (0.0278/(1 + 10^(7.688 - pH)) + 1.1994/(1 + 10^(pH - 7.688))) · 2.126 · 10^(0.028(20 - max(t, 7)))",
            "mg/L as N", ("epa_2013_ammonia",), "ammonia criteria"),
    Formula("hardness from calcium and magnesium", hardness.hardness_from_metals_mg_l,
            "100.086 (Ca/40.078 + Mg/24.305)", "mg/L as CaCO3", ("standard_methods", "iupac_2021"), "hardness"),
    Formula("hardness in other units", hardness.hardness_in, "1 dGH = 1 dKH = 17.848 mg/L as CaCO3 = 0.35665 meq/L",
            "as asked", ("iupac_2021", "standard_methods"), "hardness"),
    Formula("hardness from other units", hardness.hardness_from, "1 French degree = 10, 1 English degree = 14.254,"
            " 1 grain a US gallon = 17.118 mg/L as CaCO3", "mg/L as CaCO3", ("iupac_2021", "standard_methods"), "hardness"),
    Formula("gas exchange at a temperature", exchange.k_at, "k20 · 1.024^(t - 20)", "1/h", ("asce_2006",),
            "gas exchange rates"),
    Formula("Schmidt number of oxygen", exchange.schmidt_oxygen, "1568 - 86.04 t + 2.142 t^2 - 0.0216 t^3", "1",
            ("raymond_2012",), "gas exchange rates"),
    Formula("gas exchange at 20 °C", exchange.k20_from, "k / 1.024^(t - 20)", "1/h", ("asce_2006",), "gas exchange rates"),
    Formula("Schmidt number of oxygen, older", exchange.schmidt_oxygen_1992,
            "1800.6 - 120.10 t + 3.7818 t^2 - 0.047608 t^3", "1", ("wanninkhof_1992",), "gas exchange rates"),
    Formula("gas exchange at Schmidt number 600", exchange.k600_from, "k (Sc / 600)^0.5", "as given", ("jahne_1987",),
            "gas exchange rates"),
    Formula("alpha of a tank", exchange.alpha_factor, "kLa20 in the tank / kLa20 in clean water", "1", ("sincero_2003",),
            "gas exchange rates"),
    Formula("steady oxygen at 20 °C and 1 atm", exchange.c_star_20_mg_l,
            "C* / (tau · P / 101.325), tau = saturation at t over that at 20 °C", "mg/L", ("asce_2006",),
            "gas exchange rates"),
    Formula("reaeration in clean water", exchange.fit_reaeration, "C = C* - (C* - C0) exp(-kLa t), least squares", "1/h",
            ("asce_2006", "hendricks_2011"), "reaeration"),
    Formula("air-off, air-on test", exchange.fit_air_test, "dC/dt = kLa (C* - C) - R, least squares over both phases",
            "mg/L/h", ("bandyopadhyay_1967", "bates_1988"), "reaeration"),
    Formula("night regression", exchange.night_regression, "dC/dt = K (Cs - C) + ER at night", "1/h", ("odum_1956", "hornberger_1975"),
            "night regression"),
)  # fmt: skip
