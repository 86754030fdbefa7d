"""The same oxygen in its other quantity: mg/L from percent of air saturation and back, in the tank's own water.

Must not do: assume a temperature; without a recent good one there is no value, and the reason says so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from api.domain.errors import OutOfRange
from api.domain.quantity import MEANING, Quantity
from api.domain.reading import CheckedReading, Flag
from api.science.oxygen import from_percent_mg_l, percent_saturation
from api.services.partners import TEMPERATURE_AGE_MS, Partner

OTHER = {
    Quantity.OXYGEN: Quantity.OXYGEN_SATURATION,
    Quantity.OXYGEN_SATURATION: Quantity.OXYGEN,
}
DOUBTED = "the temperature it needs is suspect"
NO_PARTNER = f"no good temperature of this tank within {TEMPERATURE_AGE_MS // 60_000} minutes"


@dataclass(frozen=True, slots=True)
class Water:
    """What else a derived value depends on: station pressure [kPa] with its flag, and salinity [PSS-78]."""

    pressure_kpa: float
    salinity_psu: float
    pressure_flag: Flag = Flag.GOOD


def derive(reading: CheckedReading, partner: Partner | None, water: Water) -> CheckedReading:
    """The reading's oxygen in the other quantity, with the worst flag of its inputs; MISSING where it cannot be had."""
    quantity = OTHER[reading.quantity]
    value, flag, reason = None, Flag.MISSING, ""
    if reading.value is None:
        reason = no_input(reading.quantity)
    elif partner is None:
        reason = NO_PARTNER
    else:
        try:
            value = into(quantity)(reading.value, partner.value, water.pressure_kpa, water.salinity_psu)
            flag = worst(reading.flag, worst(partner.flag, water.pressure_flag))
            reason = DOUBTED if reading.flag < Flag.SUSPECT <= partner.flag else reading.reason
        except OutOfRange as error:
            reason = str(error)
    return CheckedReading(
        reading.probe,
        quantity,
        reading.time_ms,
        reading.raw_value,
        reading.raw_unit,
        value,
        flag,
        reason,
        derived=True,
        arrival=reading.arrival,
    )


def no_input(quantity: Quantity) -> str:
    """Why there is no derived value."""
    return f"the {MEANING[quantity].label} it comes from is not usable"


def into(quantity: Quantity) -> Callable[[float, float, float, float], float]:
    """The formula that gives oxygen in a quantity from its other one, temperature, pressure and salinity."""
    return from_percent_mg_l if quantity is Quantity.OXYGEN else percent_saturation


def worst(first: Flag, second: Flag) -> Flag:
    """The worse of two flags; "not evaluated" never turns into good."""
    return max(first, second)
