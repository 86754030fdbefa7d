"""A tank as the physics sees it, one by one (``TankSpec``) and all at once as arrays (``Tanks``).

Must not do: change with time; what changes is in ``state.py``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple, dataclass, fields

import numpy as np

from collector.simulated import animals, heat, oxygen
from collector.simulated.oxygen import Array


@dataclass(frozen=True, slots=True)
class TankSpec:
    """Glass, water, animals and equipment of one tank.

    ``transfer_per_m`` is the airstone's (0.025 coarse to 0.05 fine), ``water_mg_l_h`` the demand of food rests and
    biofilm at 20 degC (0.02 to 0.3, from memory); ``hysteresis_k`` is the thermostat's whole width.
    """

    volume_l: float
    depth_m: float = 0.28
    animals: int = 3
    animal_g: float = 25.0
    heater_w: float = 75.0
    heater_set_c: float = 26.0
    hysteresis_k: float = 0.3
    air_l_min: float = 2.0
    transfer_per_m: float = 0.04
    lid: bool = True
    lamp_w: float = 4.0
    pump_w: float = 2.0
    water_mg_l_h: float = 0.08
    meal_h: float = 17.0
    meal_every_d: int = 2
    meal_first_d: int = 0


class Tanks:
    """Many tanks as arrays, with what follows from their shape worked out once."""

    def __init__(self, specs: Sequence[TankSpec], pressure_kpa: float = 101.325, salinity_psu: float = 0.0) -> None:
        rows = np.array([astuple(spec) for spec in specs], dtype=np.float64)
        self.given: dict[str, Array] = {field.name: rows[:, i] for i, field in enumerate(fields(TankSpec))}
        given = self.given
        self.specs = tuple(specs)
        self.count = len(specs)
        self.pressure_kpa, self.salinity_psu = pressure_kpa, salinity_psu
        volume, depth = given["volume_l"], given["depth_m"]
        self.capacity_j_k = heat.capacity_j_k(volume)
        self.loss_w_k = heat.loss_w_k(volume, depth, given["lid"])
        top_m2 = volume / 1000.0 / depth
        self.evaporating_m2 = top_m2 * np.where(given["lid"] > 0, heat.LID_EVAPORATION_SHARE, 1.0)
        self.still_per_h = oxygen.surface_exchange_per_h(oxygen.STILL_CM_H, depth)
        self.aired_per_h = oxygen.surface_exchange_per_h(oxygen.RIPPLED_CM_H - oxygen.STILL_CM_H, depth) * (
            given["air_l_min"] > 0
        ) + oxygen.airstone_exchange_per_h(given["air_l_min"], depth, volume, given["transfer_per_m"])
        self.kg_per_l = given["animals"] * given["animal_g"] / 1000.0 / volume
        self.size_factor = animals.size_factor(given["animal_g"])
        self.heater_on_c = given["heater_set_c"] - given["hysteresis_k"] / 2
        self.heater_off_c = given["heater_set_c"] + given["hysteresis_k"] / 2

    def saturation_mg_l(self, temperature_c: Array) -> Array:
        """Oxygen at saturation under this room's air. [mg/L]"""
        return oxygen.saturation_mg_l(temperature_c, self.pressure_kpa, self.salinity_psu)
