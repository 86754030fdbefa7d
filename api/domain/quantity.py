"""The quantities of tank water, their canonical units and their labels: the glossary's one source.

Must not do: convert units (``api/science/units.py``) or judge values (``api/judge``).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Quantity(StrEnum):
    """Names as they stand in JSON and files."""

    TEMPERATURE = "temperature"
    OXYGEN = "oxygen"
    OXYGEN_SATURATION = "oxygen_saturation"
    PH = "ph"
    CONDUCTIVITY = "conductivity"
    AMMONIA = "ammonia"
    NITRITE = "nitrite"
    NITRATE = "nitrate"
    HARDNESS = "hardness"
    ALKALINITY = "alkalinity"
    CALCIUM = "calcium"
    FLOW = "flow"
    LEVEL = "level"
    PRESSURE = "pressure"


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a quantity is, the unit it is kept in, and how many decimals are worth showing."""

    label: str
    unit: str
    unit_label: str
    decimals: int
    note: str


MEANING: dict[Quantity, Meaning] = {
    Quantity.TEMPERATURE: Meaning("temperature", "Cel", "°C", 1, "water temperature"),
    Quantity.OXYGEN: Meaning("oxygen", "mg/L", "mg/L", 1, "dissolved oxygen, mass concentration"),
    Quantity.OXYGEN_SATURATION: Meaning(
        "oxygen saturation",
        "%",
        "% of air saturation",
        0,
        "dissolved oxygen, percent of air saturation at local pressure",
    ),
    Quantity.PH: Meaning("pH", "pH", "pH", 2, "NBS scale"),
    Quantity.CONDUCTIVITY: Meaning("conductivity", "uS/cm", "µS/cm at 25 °C", 0, "specific conductance at 25 °C"),
    Quantity.AMMONIA: Meaning("ammonia", "mg/L", "mg/L as N", 2, "total ammonia as nitrogen"),
    Quantity.NITRITE: Meaning("nitrite", "mg/L", "mg/L as N", 2, "nitrite as nitrogen"),
    Quantity.NITRATE: Meaning("nitrate", "mg/L", "mg/L as N", 1, "nitrate as nitrogen"),
    Quantity.HARDNESS: Meaning("hardness", "mg/L", "mg/L as CaCO3", 0, "total hardness as calcium carbonate"),
    Quantity.ALKALINITY: Meaning("alkalinity", "mg/L", "mg/L as CaCO3", 0, "alkalinity as calcium carbonate"),
    Quantity.CALCIUM: Meaning("calcium", "mg/L", "mg/L", 0, "dissolved calcium"),
    Quantity.FLOW: Meaning("flow", "L/min", "L/min", 1, "water flow"),
    Quantity.LEVEL: Meaning("level", "cm", "cm", 1, "water level above the tank floor"),
    Quantity.PRESSURE: Meaning("pressure", "kPa", "kPa", 1, "station air pressure, not reduced to sea level"),
}
