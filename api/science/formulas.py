"""The formulas in use, for people who ask where a number comes from: what, equation, ranges, source.

Ranges come from the formulas themselves (``arrays.spans_of``). Must not do: compute.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from api.science import ammonia, conductivity, exchange, hardness, other_solubility, oxygen, pressure
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
    Formula("percent of air saturation", oxygen.percent_saturation, "100 · C / saturation at local pressure", "%",
            ("usgs_2011_03",), "percent saturation"),
    Formula("oxygen from percent", oxygen.from_percent_mg_l, "percent / 100 · saturation at local pressure", "mg/L",
            ("usgs_2011_03",), "percent saturation"),
    Formula("partial pressure of oxygen", oxygen.partial_pressure_kpa, "C / saturation · 0.20946 (P - u)", "kPa",
            ("usgs_2011_03", "scor_142"), "partial pressure"),
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
            "sea-level pressure · (1 - 0.0065 H / 288.15)^5.255876", "kPa", ("us_standard_atmosphere_1976",)),
    Formula("conductance at 25 °C", conductivity.conductance_25c_us_cm, "C / (1 + 0.0191 (t - 25))", "uS/cm",
            ("standard_methods",)),
    Formula("salinity from conductance", conductivity.salinity_from_conductance, "5.572e-4 C + 2.02e-9 C^2", "1",
            ("usgs_2011_03",), "salinity"),
    Formula("practical salinity", conductivity.practical_salinity, "PSS-78 with Hill's extension below 2", "1",
            ("unesco_44", "hill_1986"), "practical salinity"),
    Formula("un-ionised ammonia", ammonia.unionized_fraction, "1 / (1 + 10^(pKa - pH)), pKa = 0.09018 + 2729.92/T", "1",
            ("emerson_1975",), "ammonia fraction"),
    Formula("ammonia, acute criterion", ammonia.acute_criterion_mg_l,
            "0.7249 (0.0114/(1 + 10^(7.204 - pH)) + 1.6181/(1 + 10^(pH - 7.204))) · min(51.93, 23.12 · 10^(0.036(20 - t)))",
            "mg/L as N", ("epa_2013_ammonia",), "ammonia criteria"),
    Formula("ammonia, chronic criterion", ammonia.chronic_criterion_mg_l,
            "0.8876 (0.0278/(1 + 10^(7.688 - pH)) + 1.1994/(1 + 10^(pH - 7.688))) · 2.126 · 10^(0.028(20 - max(t, 7)))",
            "mg/L as N", ("epa_2013_ammonia",), "ammonia criteria"),
    Formula("hardness from calcium and magnesium", hardness.hardness_from_metals_mg_l,
            "100.086 (Ca/40.078 + Mg/24.305)", "mg/L as CaCO3", ("standard_methods", "iupac_2021"), "hardness"),
    Formula("hardness in other units", hardness.hardness_in, "1 dGH = 1 dKH = 17.848 mg/L as CaCO3 = 0.35665 meq/L",
            "as asked", ("iupac_2021", "standard_methods"), "hardness"),
    Formula("gas exchange at a temperature", exchange.k_at, "k20 · 1.024^(t - 20)", "1/h", ("asce_2006",),
            "gas exchange rates"),
    Formula("Schmidt number of oxygen", exchange.schmidt_oxygen, "1568 - 86.04 t + 2.142 t^2 - 0.0216 t^3", "1",
            ("raymond_2012",), "gas exchange rates"),
    Formula("reaeration in clean water", exchange.fit_reaeration, "C = C* - (C* - C0) exp(-kLa t), least squares", "1/h",
            ("asce_2006", "hendricks_2011"), "reaeration"),
    Formula("air-off, air-on test", exchange.fit_air_test, "dC/dt = kLa (C* - C) - R, least squares over both phases",
            "mg/L/h", ("bandyopadhyay_1967", "bates_1988"), "reaeration"),
    Formula("night regression", exchange.night_regression, "dC/dt = K (Cs - C) + ER at night", "1/h", ("odum_1956", "hornberger_1975"),
            "night regression"),
)  # fmt: skip
