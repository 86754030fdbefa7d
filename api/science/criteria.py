"""Published limits for oxygen, temperature, pH and hardness: for water at large, and for crayfish.

Figures as their sources print them; what a tank is judged by is its care profile. Must not do: judge.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Criterion:
    """One published figure: what for, what it limits, over which time, and the source's key in ``references.py``."""

    key: str
    what: str
    value: float
    unit: str
    reference: str


CRITERIA = (
    Criterion("epa86_warm_early_7d_mean", "warm water, early life, 7-day mean", 6.0, "mg/L", "epa_1986_oxygen"),
    Criterion("epa86_warm_other_30d_mean", "warm water, other life, 30-day mean", 5.5, "mg/L", "epa_1986_oxygen"),
    Criterion("epa86_warm_other_1d_min", "warm water, other life, 1-day minimum", 3.0, "mg/L", "epa_1986_oxygen"),
    Criterion("epa86_cold_other_7d_mean_min", "cold water, other life, 7-day mean minimum", 5.0, "mg/L",
              "epa_1986_oxygen"),
    Criterion("ccme_warm_other", "warm water, other life, lowest acceptable", 5.5, "mg/L", "ccme_1999_oxygen"),
    Criterion("redclaw_do_desirable_min", "red claw, oxygen desirable above", 5.0, "mg/L", "queensland_redclaw"),
    Criterion("redclaw_temp_opt_low", "red claw, best growth from", 26.0, "Cel", "queensland_redclaw"),
    Criterion("redclaw_temp_lethal_high", "red claw, lethal from about", 34.5, "Cel", "queensland_redclaw"),
    Criterion("redclaw_pH_low", "red claw, shell and molting problems below", 7.0, "pH", "queensland_redclaw"),
    Criterion("redclaw_hardness_min", "red claw, shell and molting problems below", 50.0, "mg/L as CaCO3",
              "queensland_redclaw"),
    Criterion("redclaw_preferendum", "red claw juveniles, temperature they choose", 28.7, "Cel", "diaz_2004"),
    Criterion("pclarkii_do_keep_above", "Procambarus clarkii in ponds, oxygen above", 5.0, "mg/L", "lawson_1982"),
    Criterion("pclarkii_hypoxia_survival_trial1", "Procambarus clarkii juveniles, survival lost, 12 weeks at 0.5 mg/L",
              31.0, "%", "mcclain_1999"),
)  # fmt: skip
BY_KEY = {one.key: one for one in CRITERIA}
