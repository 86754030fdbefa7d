"""How heat goes into and out of a tank: glass, surface, evaporation.

Pure functions on arrays for the simulated room; must not read a clock.
"""

from __future__ import annotations

import numpy as np

from collector.simulated.oxygen import Array

WALL_W_M2_K, BASE_W_M2_K, OPEN_TOP_W_M2_K, LID_W_M2_K = 6.0, 3.0, 9.0, 4.0
"""Heat passed per area and kelvin by glass walls, base, open and covered top (from memory)."""
HEAT_OF_WATER_J_L_K = 4170.0
"""4180 J/kg/K x 0.997 kg/L at 25 degC."""
GLASS_SHARE = 1.08
"""Glass, gravel and shelters add about 8 % to the water's heat capacity (judgement)."""
LID_EVAPORATION_SHARE = 0.15
"""What a loose lid leaves of the evaporation (judgement)."""
HUMIDITY = 0.5
"""Relative humidity of the room's air (judgement). [1]"""


def vapour_pressure_kpa(temperature_c: Array) -> Array:
    """Saturation vapour pressure over water, Magnus form of Alduchov & Eskridge 1996 (from memory). [kPa]"""
    pressure: Array = 0.61094 * np.exp(17.625 * temperature_c / (243.04 + temperature_c))
    return pressure


def evaporation_w(temperature_c: Array, room_c: Array, open_m2: Array) -> Array:
    """Heat lost to evaporation from ``open_m2`` of still surface. [W]

    ASHRAE pool form, W/m2 = 0.5 x 89 x (pw - pa) with pressures in kPa and activity factor 0.5 (from memory).
    """
    heat: Array = 44.5 * open_m2 * (vapour_pressure_kpa(temperature_c) - HUMIDITY * vapour_pressure_kpa(room_c))
    return heat


def loss_w_k(volume_l: Array, depth_m: Array, lid: Array) -> Array:
    """Heat lost per kelvin above the room, by the faces of a tank twice as long as wide. [W/K]"""
    top_m2 = volume_l / 1000.0 / depth_m
    wall_m2 = 6.0 * np.sqrt(top_m2 / 2.0) * depth_m
    cover = np.where(lid > 0, LID_W_M2_K, OPEN_TOP_W_M2_K)
    loss: Array = WALL_W_M2_K * wall_m2 + (BASE_W_M2_K + cover) * top_m2
    return loss


def capacity_j_k(volume_l: Array) -> Array:
    """Heat needed to warm the tank by one kelvin. [J/K]"""
    return HEAT_OF_WATER_J_L_K * GLASS_SHARE * volume_l
