"""What a probe said to a value in its canonical unit, calibrated by date, with what can already be said against it.

Must not do: compare a value with its neighbours in time (``api/judge``), or drop what cannot be converted.
"""

from __future__ import annotations

from functools import lru_cache

from api.domain.calibration import line_at
from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag, RawReading
from api.science.pressure import looks_reduced
from api.science.units import converter
from api.services.plan import ChannelPlan

LARGEST = 1e9
"""Beyond any value of any quantity in its canonical unit; sums and squares of less stay finite numbers."""


def convert(raw: RawReading, channel: ChannelPlan) -> CheckedReading:
    """Raw to canonical unit, calibrated; what cannot be converted is kept with FAIL and the reason."""
    value, flag, reason = converted(raw.quantity, raw.value, raw.unit, raw.time_ms, channel)
    return CheckedReading(raw.probe, raw.quantity, raw.time_ms, raw.value, raw.unit, value, flag, reason)


def converted(
    quantity: Quantity, value: float, unit: str, time_ms: int, channel: ChannelPlan
) -> tuple[float | None, Flag, str]:
    """Value in the canonical unit (None: cannot be had), the flag that stands before any other check, and why."""
    try:
        into = converter(quantity, unit)
    except InputError as error:
        return None, Flag.FAIL, str(error)
    true = into(value)
    if channel.lines:
        line = line_at(channel.lines, time_ms)
        true = line.true(true) if line is not None else true
    if not -LARGEST < true < LARGEST:
        return None, Flag.FAIL, f"{value:g} {unit} is no amount of anything in a tank"
    if channel.unit is not None and unit != channel.unit and not same_unit(quantity, unit, channel.unit):
        return true, Flag.SUSPECT, f"said in {unit}, though this probe speaks {channel.unit}: has it been changed?"
    if quantity is Quantity.PRESSURE and looks_reduced(true, channel.altitude_m):
        return true, Flag.SUSPECT, reduced_words(true, channel.altitude_m)
    return true, Flag.GOOD, ""


def reduced_words(pressure_kpa: float, altitude_m: float) -> str:
    """What to say of a pressure that cannot be the station's."""
    return (
        f"{pressure_kpa:.1f} kPa looks reduced to sea level; at {altitude_m:g} m station pressure is needed, "
        "as a barometer in the room shows it"
    )


@lru_cache(maxsize=1024)
def same_unit(quantity: Quantity, first: str, second: str) -> bool:
    """Whether two labels mean the same unit."""
    try:
        into, other = converter(quantity, first), converter(quantity, second)
    except InputError:
        return False
    return into(1.0) == other(1.0) and into(20.0) == other(20.0)
