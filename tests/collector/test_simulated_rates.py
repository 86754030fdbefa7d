"""Rates of the simulated water and its animals against printed figures; must not start a process."""

from __future__ import annotations

import numpy as np
import pytest

from collector.simulated import animals, heat, oxygen
from collector.simulated.physics import Scene, arrive, march
from collector.simulated.room_air import DAY_MS, HOUR_MS, RoomAir
from collector.simulated.state import at_rest
from collector.simulated.tanks import Tanks, TankSpec

CALM = RoomAir(mean_c=24.0, swing_c=0.0, weather_c=0.0)


@pytest.mark.parametrize(
    ("temperature_c", "pressure_mmhg", "printed_mg_l"),
    [
        (0, 760, 14.62),
        (10, 760, 11.29),
        (20, 760, 9.09),
        (24, 761, 8.43),
        (26, 760, 8.11),
        (28, 761, 7.84),
        (30, 760, 7.56),
        (36, 761, 6.85),
    ],
)
def test_saturation_is_what_dotables_prints(temperature_c: float, pressure_mmhg: float, printed_mg_l: float) -> None:
    """Source: output of the USGS program DOTABLES, printed to two decimals."""
    got = oxygen.saturation_mg_l(np.array([float(temperature_c)]), pressure_mmhg / 760 * 101.325)
    assert got[0] == pytest.approx(printed_mg_l, abs=0.0051)


@pytest.mark.parametrize(
    ("temperature_c", "salinity", "printed"), [(10, 35, 0.7995), (20, 5, 0.9709), (30, 20, 0.8959)]
)
def test_salinity_lowers_saturation_as_dotables_prints(temperature_c: float, salinity: float, printed: float) -> None:
    """Source: salinity factors printed by the USGS program DOTABLES."""
    at = np.array([float(temperature_c)])
    ratio = oxygen.saturation_mg_l(at, 101.325, salinity) / oxygen.saturation_mg_l(at, 101.325)
    assert ratio[0] == pytest.approx(printed, abs=0.00006)


@pytest.mark.parametrize(
    ("temperature_c", "standard", "routine"),
    [(15, 17, 42), (20, 24, 61), (22, 28, 70), (24, 33, 82), (26, 38, 95), (28, 44, 110), (30, 51, 127)],
)
def test_animals_breathe_as_measured(temperature_c: float, standard: float, routine: float) -> None:
    """Source: Rutledge & Pritchard 1981: 17 mL/kg/h at 20 degC, Q10 2.09; routine is 2.5 times that. [mg/kg/h]"""
    at, one = np.array([float(temperature_c)]), np.array([1.0])
    assert animals.rate_mg_kg_h(at, one, one)[0] == pytest.approx(standard, abs=0.7)
    assert animals.rate_mg_kg_h(at, 2.5 * one, one)[0] == pytest.approx(routine, abs=1.2)


def test_demand_never_passes_the_active_maximum() -> None:
    """Source: Rutledge & Pritchard 1981, 176 mL O2/kg/h = 251 mg/kg/h at 20 degC."""
    rate = animals.rate_mg_kg_h(np.array([33.0]), np.array([8.0]), np.array([1.5]))
    assert rate[0] == 250.0


def test_water_evaporates_about_three_millimetres_a_day() -> None:
    """ASHRAE pool form, water 25 degC, air 22 degC at half humidity: 3 mm/d, latent heat 2.44 MJ/kg."""
    watts = heat.evaporation_w(np.array([25.0]), np.array([22.0]), np.array([1.0]))[0]
    assert watts * 86400 / 2.44e6 == pytest.approx(3.0, abs=0.3)


def test_thermostat_holds_its_width() -> None:
    """Water swings between the heater's two edges and hardly beyond."""
    tanks = Tanks([TankSpec(40, heater_w=60, heater_set_c=26.5, hysteresis_k=0.4, lamp_w=0, pump_w=0)])
    ((record, _),) = march(Scene(tanks, ("t",), CALM), at_rest(tanks, 0), DAY_MS)
    water = record.values["temperature_c"][1000:]
    assert water.min() == pytest.approx(26.3, abs=0.02)
    assert water.max() == pytest.approx(26.7, abs=0.02)


def test_tanks_do_not_touch_each_other() -> None:
    """A tank among many moves as it does alone, so trials of thousands mean what one would."""
    specs = [TankSpec(volume, animals=2 + number) for number, volume in enumerate((15, 40, 90, 200))]
    names = tuple("abcd")
    together = arrive(Scene(Tanks(specs), names, RoomAir()), at_rest(Tanks(specs), 0), HOUR_MS * 12)
    alone = arrive(Scene(Tanks(specs[2:3]), ("c",), RoomAir()), at_rest(Tanks(specs[2:3]), 0), HOUR_MS * 12)
    assert together.temperature_c[2] == pytest.approx(alone.temperature_c[0], abs=1e-12)
    assert together.oxygen_mg_l[2] == pytest.approx(alone.oxygen_mg_l[0], abs=1e-12)
