"""What the crayfish take from the water: mass, warmth, hour of day and meals.

Pure functions on arrays for the simulated room; must not read a clock.
"""

from __future__ import annotations

import numpy as np

from collector.simulated.oxygen import Array

STANDARD_MG_KG_H = 24.3
"""Standard rate at 20 degC, P. leniusculus: 17 mL O2/kg/h (Rutledge & Pritchard 1981). [mg/kg/h]"""
Q10 = 2.09
"""Rutledge & Pritchard 1981, 5 to 25 degC; crustacea in general 2.09 as well (Ivleva 1980)."""
ACTIVE_LIMIT_MG_KG_H = 250.0
"""Active maximum at 20 degC, 176 mL O2/kg/h (Rutledge & Pritchard 1981). [mg/kg/h]"""
REFERENCE_G, MASS_POWER = 30.0, -0.25
"""Rate per mass falls as W^-0.25 (whole-animal power 0.6 to 0.79, Ivleva 1980); reference mass is judgement."""
DAY_ACTIVITY, NIGHT_ACTIVITY = 2.0, 3.0
"""Multiples of the standard rate; lobsters x3 when active (Crear & Forteath 2000); the day value is judgement."""
FED_PEAK, FED_PEAK_H = 0.72, 11.0
"""A meal raises demand x1.72, peak at 10 to 13 h, gone after about 42 h (lobsters, Crear & Forteath 2000)."""


def rate_mg_kg_h(temperature_c: Array, activity: Array, size_factor: Array) -> Array:
    """Oxygen demand per mass of animal before want of oxygen limits it. [mg/kg/h]"""
    rate: Array = np.minimum(
        STANDARD_MG_KG_H * activity * size_factor * Q10 ** ((temperature_c - 20.0) / 10.0), ACTIVE_LIMIT_MG_KG_H
    )
    return rate


def size_factor(animal_g: Array) -> Array:
    """Smaller animals breathe more per mass. [1]"""
    factor: Array = (animal_g / REFERENCE_G) ** MASS_POWER
    return factor


def night_activity(hour: Array, light_from_h: float = 7.0, light_until_h: float = 19.0) -> Array:
    """Activity by hour of day: night, day, and half an hour's change at each end. [1]"""
    since_dark = np.minimum((hour - light_until_h) % 24.0, 0.5) / 0.5
    since_light = np.minimum((hour - light_from_h) % 24.0, 0.5) / 0.5
    lit = (hour >= light_from_h) & (hour < light_until_h)
    night: Array = np.where(lit, 1.0 - since_light, since_dark)
    return DAY_ACTIVITY + (NIGHT_ACTIVITY - DAY_ACTIVITY) * night


def fed_factor(hours_since_meal: Array) -> Array:
    """How much a meal raises demand; 1 without one. [1]"""
    share = hours_since_meal / FED_PEAK_H
    raised: Array = 1.0 + FED_PEAK * share * np.exp(1.0 - share)
    return raised
