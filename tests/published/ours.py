"""Our figure for each published row, by its group. Must not do: know the row's value."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import gsw

from api.domain.quantity import Quantity
from api.science import (
    ammonia,
    conductivity,
    criteria,
    exchange,
    hardness,
    other_pressure,
    other_solubility,
    oxygen,
    pressure,
)
from api.science.units import converter

FOLDER = Path(__file__).parent
KPA_PER_MMHG = 101.325 / 760.0
HPA_PER_KPA = 10.0
Row = dict[str, Any]
GROUPS = (
    "oxygen saturation", "pressure factor", "salinity factor", "vapour pressure", "other solubility", "conversions",
    "percent saturation", "partial pressure", "standard atmosphere", "other pressure", "conductance", "salinity",
    "practical salinity", "ammonia fraction", "ammonia criteria", "criteria", "hardness", "gas exchange rates",
    "reaeration", "night regression",
)  # fmt: skip


def rows(group: str) -> list[Row]:
    """A group's rows."""
    text = (FOLDER / f"{group.replace(' ', '_')}.json").read_text(encoding="utf-8")
    return list(json.loads(text))


def unmet() -> dict[str, str]:
    """Rows that cannot be met, with the reason."""
    return dict(json.loads((FOLDER / "unmet.json").read_text(encoding="utf-8")))


def ours(row: Row) -> float:
    """Our figure."""
    return float(BY_GROUP[row["group"]](row))


def _water(row: Row) -> tuple[float, float, float]:
    """Temperature [Cel], pressure [kPa] and salinity of a row."""
    given = row["inputs"]
    temperature_c = given.get("temperature_degC", given.get("potential_temperature_degC"))
    pressure_kpa = given.get("pressure_kPa", given.get("pressure_mmHg", 760.0) * KPA_PER_MMHG)
    salinity = given.get("salinity_permil", given.get("salinity_psu", given.get("practical_salinity", 0.0)))
    return float(temperature_c), float(pressure_kpa), float(salinity)


def _vapour(row: Row) -> float:
    if "theta" in row["quantity"]:
        return oxygen.theta_per_atm(_water(row)[0])
    return oxygen.vapour_pressure_kpa(_water(row)[0]) / oxygen.KPA_PER_ATM


def _other_solubility(row: Row) -> float:
    temperature_c, _, salinity = _water(row)
    if row["unit"] == "umol/kg":
        return other_solubility.garcia_gordon_umol_kg(temperature_c, salinity)
    if "Weiss" in row["quantity"]:
        return other_solubility.weiss_ml_l(temperature_c, salinity)
    held_ml_l = other_solubility.garcia_gordon_ml_l(temperature_c, salinity)
    return held_ml_l if row["unit"] == "mL/L" else oxygen.mg_from_ml_l(held_ml_l)


def _conversion(row: Row) -> float:
    given = row["inputs"]
    if "temperature_degF" in given:
        return float(converter(Quantity.TEMPERATURE, "[degF]")(given["temperature_degF"]))
    if "conc_mL_per_L" in given:
        return oxygen.umol_from_mg_l(oxygen.mg_from_ml_l(float(given["conc_mL_per_L"])))
    turn = oxygen.umol_from_mg_l if row["unit"] == "umol/L" else oxygen.ml_from_mg_l
    return turn(float(given["conc_mg_per_L"]))


def _percent(row: Row) -> float:
    return oxygen.percent_saturation(float(row["inputs"]["conc_mg_per_L"]), *_water(row))


def _partial(row: Row) -> float:
    water = _water(row)
    amount_mg_l = row["inputs"].get("conc_mg_per_L")
    return oxygen.partial_pressure_kpa(
        oxygen.saturation_mg_l(*water) if amount_mg_l is None else float(amount_mg_l), *water
    )


def _atmosphere(row: Row) -> float:
    given = row["inputs"]
    if "geometric_altitude_m" in given:
        altitude_m = float(given["geometric_altitude_m"])
    else:
        height_m = float(given["geopotential_height_m"])
        altitude_m = pressure.EARTH_RADIUS_M * height_m / (pressure.EARTH_RADIUS_M - height_m)
    return pressure.standard_pressure_kpa(altitude_m) * HPA_PER_KPA


def _other_pressure(row: Row) -> float:
    given = row["inputs"]
    if "MetPy" in row["quantity"]:
        return other_pressure.hobbs_pressure_kpa(float(given["height_m"])) * HPA_PER_KPA
    altitude_m = float(given["elevation_m"])
    if "air_temperature_degC" in given:
        air_c = float(given["air_temperature_degC"])
        return other_pressure.isothermal_pressure_kpa(altitude_m, air_c) * HPA_PER_KPA
    return other_pressure.mortimer_pressure_kpa(altitude_m) * HPA_PER_KPA


def _conductance(row: Row) -> float:
    given = row["inputs"]
    return conductivity.conductance_25c_us_cm(float(given["conductivity_uS_per_cm"]), float(given["temperature_degC"]))


def _practical(row: Row) -> float:
    given = row["inputs"]
    if "conductivity_ratio" in given:
        conductivity_ms_cm = float(given["conductivity_ratio"]) * conductivity.STANDARD_MS_CM
        temperature_c = float(given["temperature68_degC"]) / 1.00024
    else:
        conductivity_ms_cm, temperature_c = float(given["conductivity_mS_per_cm"]), float(given["temperature_degC"])
    return conductivity.practical_salinity(conductivity_ms_cm, temperature_c, float(given["pressure_dbar"]))


def _fraction(row: Row) -> float:
    given = row["inputs"]
    if "factor" in given:
        return ammonia.nh3_from_n_mg_l(1.0)
    if "pKa" in row["quantity"]:
        return ammonia.ammonium_pka(float(given["temperature_degC"]))
    share = ammonia.unionized_fraction(float(given["pH"]), float(given["temperature_degC"]))
    return 100.0 * share if row["unit"] == "%" else share


def _criterion(row: Row) -> float:
    given = row["inputs"]
    ph, temperature_c = float(given["pH"]), float(given["temperature_degC"])
    if "CCC" in row["quantity"]:
        found = ammonia.chronic_criterion_mg_l(ph, temperature_c)
    else:
        salmonids = "present" in row["quantity"]
        found = ammonia.acute_criterion_mg_l(ph, temperature_c, salmonids=salmonids)
    # printed tables and headlines hold two significant figures
    return float(f"{found:.2g}") if "unrounded" not in row["quantity"] else found


HARDNESS: dict[str, Callable[[], float]] = {
    "hard_dGH_mgCaCO3": lambda: hardness.hardness_from("dGH", 1.0),
    "hard_dGH_meq": lambda: hardness.hardness_in("meq/L", hardness.hardness_from("dGH", 1.0)),
    "hard_dKH_meq": lambda: hardness.hardness_in("meq/L", hardness.hardness_from("dKH", 1.0)),
    "hard_meq_CaCO3": lambda: hardness.hardness_from("meq/L", 1.0),
    "hard_CaCO3_to_Ca": lambda: hardness.hardness_in("mg/L Ca", 1.0),
    "hard_Mg_to_CaCO3": lambda: hardness.hardness_from_metals_mg_l(0.0, 1.0),
    "hard_Clark": lambda: hardness.hardness_from("English degree", 1.0),
    "hard_dGH_seen_mmol": lambda: hardness.hardness_in("mmol/L", hardness.hardness_from("dGH", 1.0)),
}


def _hardness(row: Row) -> float:
    if row["id"] in HARDNESS:
        return HARDNESS[row["id"]]()
    unit = "dGH" if row["unit"] == "dGH" else "mg/L Ca"
    return hardness.hardness_in(unit, float(row["inputs"]["hardness_mg_per_L_CaCO3"]))


def _rates(row: Row) -> float:
    given, what = row["inputs"], row["quantity"]
    if "theta" in given:
        return exchange.k20_from(1.0, given["temperature_degC"], given["theta"])
    if "Schmidt" in what:
        number = exchange.schmidt_oxygen if "Raymond" in what else exchange.schmidt_oxygen_1992
        return number(given["temperature_degC"])
    if "k600" in what:
        return exchange.k600_from(1.0, exchange.schmidt_oxygen(given["temperature_degC"]))
    if "alpha" in what:
        return exchange.alpha_factor(given["kLa20_waste_per_h"], given["kLa20_tap_per_h"])
    pressure_kpa = given["pressure_mmHg"] * KPA_PER_MMHG
    return exchange.c_star_20_mg_l(given["Cstar_T_mg_per_L"], given["temperature_degC"], pressure_kpa)


def _reaeration(row: Row) -> float:
    given, what = row["inputs"], row["quantity"]
    if "air-off/air-on" in what:
        return _gassing_out(row)
    if "printed in the book" in what:
        return oxygen.saturation_mg_l(float(given["temperature_degC"]), float(given["pressure_mmHg"]) * KPA_PER_MMHG)
    hours = [minute / 60.0 for minute in given["time_min"]]
    values, fixed = given["DO_mg_per_L"], given.get("Cstar_fixed_mg_per_L")
    if "t_ge_2" in what:
        hours, values = hours[2:], values[2:]
    if "log-deficit" in what:
        return exchange.log_deficit(hours, values, fixed).kla_per_h.value / 60.0
    fit = exchange.fit_reaeration(hours, values, saturation_mg_l=fixed, allow_weak=True)
    if what.endswith("_se"):
        return fit.c_star_mg_l.se
    if what.endswith("Cstar"):
        return fit.c_star_mg_l.value
    if what.endswith("C0"):
        return fit.c0_mg_l.value
    rate_per_h = fit.kla_per_h.value
    if what.endswith("kLa_20"):
        return exchange.k20_from(rate_per_h, given["temperature_degC"])
    return rate_per_h if row["unit"] == "1/h" else rate_per_h / 60.0


def _gassing_out(row: Row) -> float:
    given = row["inputs"]
    off_h = [minute / 60.0 for minute in given["air_off_time_min"]]
    on_h = [minute / 60.0 for minute in given["air_on_time_min"]]
    fit = exchange.fit_air_test(
        off_h, given["air_off_DO_mg_per_L"], on_h, given["air_on_DO_mg_per_L"], given["Cstar_mg_per_L"]
    )
    if row["quantity"].endswith("OUR"):
        return fit.demand_mg_l_h.value / 60.0
    if row["quantity"].endswith("C_steady"):
        return fit.steady_mg_l.value
    return fit.aerated_per_h.value / 60.0


def _night(row: Row) -> float:
    given = row["inputs"]
    fit = exchange.night_regression(given["time_h"], given["DO_mg_per_L"], given["DO_sat_mg_per_L"])
    raw = row["id"].endswith("_fd")
    if "K" in row["id"]:
        return fit.slope_per_h if raw else fit.k_per_h.value
    return fit.intercept_mg_l_h if raw else fit.respiration_mg_l_h.value


def gsw_mg_l(temperature_c: Any, salinity: float) -> Any:
    """The reference library's solubility at 1 atm in mg/L, by its own density. TEOS-10, gsw."""
    absolute = gsw.SA_from_SP(salinity, 0.0, 0.0, 45.0)
    density = gsw.rho(absolute, gsw.CT_from_pt(absolute, temperature_c), 0.0)
    return gsw.O2sol_SP_pt(salinity, temperature_c) * density * 31.9988e-6


BY_GROUP: dict[str, Callable[[Row], float]] = {
    "oxygen saturation": lambda row: oxygen.saturation_mg_l(*_water(row)),
    "pressure factor": lambda row: oxygen.pressure_factor(*_water(row)[:2]),
    "salinity factor": lambda row: oxygen.salinity_factor(_water(row)[0], _water(row)[2]),
    "vapour pressure": _vapour,
    "other solubility": _other_solubility,
    "conversions": _conversion,
    "percent saturation": _percent,
    "partial pressure": _partial,
    "standard atmosphere": _atmosphere,
    "other pressure": _other_pressure,
    "conductance": _conductance,
    "salinity": lambda row: conductivity.salinity_from_conductance(
        float(row["inputs"]["specific_conductance_uS_per_cm_25C"])
    ),
    "practical salinity": _practical,
    "ammonia fraction": _fraction,
    "ammonia criteria": _criterion,
    "criteria": lambda row: criteria.BY_KEY[row["id"]].value,
    "hardness": _hardness,
    "gas exchange rates": _rates,
    "reaeration": _reaeration,
    "night regression": _night,
}
