"""The same oxygen in its other quantity: mg/L from percent of air saturation and back, in the tank's own water.

Must not do: assume a temperature; without a recent good one there is no value, and the reason says so.
"""

from __future__ import annotations

from dataclasses import dataclass

from api.domain.errors import OutOfRange
from api.domain.quantity import MEANING, Quantity
from api.domain.reading import CheckedReading, Flag
from api.judge.samples import usable
from api.science.oxygen import from_percent_mg_l, percent_saturation

PARTNER_AGE_MS = 900_000
"""How old the tank's temperature may be to serve as partner. [ms]"""
OTHER = {
    Quantity.OXYGEN: Quantity.OXYGEN_SATURATION,
    Quantity.OXYGEN_SATURATION: Quantity.OXYGEN,
}

INTO = {Quantity.OXYGEN: from_percent_mg_l, Quantity.OXYGEN_SATURATION: percent_saturation}


@dataclass(frozen=True, slots=True)
class Partner:
    """The tank's newest usable temperature."""

    time_ms: int
    temperature_c: float
    flag: Flag


def derive(
    reading: CheckedReading, partner: Partner | None, pressure_kpa: float, salinity_psu: float
) -> CheckedReading:
    """The reading's oxygen in the other quantity, with the worse flag of its inputs; MISSING where it cannot be had."""
    quantity = OTHER[reading.quantity]
    value, flag, reason = None, Flag.MISSING, ""
    if reading.value is None or not usable(reading):
        reason = f"the {MEANING[reading.quantity].label} it comes from is not usable"
    elif partner is None or abs(reading.time_ms - partner.time_ms) > PARTNER_AGE_MS:
        reason = "no good temperature of this tank within 15 minutes"
    else:
        try:
            value = INTO[quantity](reading.value, partner.temperature_c, pressure_kpa, salinity_psu)
            flag = worst(reading.flag, partner.flag)
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
        reason or reading.reason,
        derived=True,
    )


def nearest(time_ms: int, newest: Partner | None, passed: Partner | None) -> Partner | None:
    """The partner nearer in time: the tank's newest, or, for readings of the past, the one that came with them."""
    if newest is None or passed is None:
        return newest or passed
    return passed if abs(time_ms - passed.time_ms) < abs(time_ms - newest.time_ms) else newest


def worst(first: Flag, second: Flag) -> Flag:
    """The worse of two flags; "not evaluated" never turns into good."""
    return max(first, second)
