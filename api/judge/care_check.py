"""What speaks against a care range: what cannot be, and what should be thought over. Pure.

Must not do: change a range. That limits rise from danger to target is checked by ``CareRange`` itself.
"""

from __future__ import annotations

from api.domain.care import CareProfile, CareRange
from api.domain.errors import OutOfRange
from api.domain.quantity import Quantity
from api.science.oxygen import saturation_mg_l


def refusals(oxygen: CareRange | None, warmth: CareRange | None, pressure_kpa: float, salinity_psu: float) -> list[str]:
    """Why ranges cannot be kept together: oxygen no water of the coolest target temperature can hold."""
    return _too_much(oxygen, None if warmth is None else warmth.target_low, pressure_kpa, salinity_psu, "even at")


def doubts(
    oxygen: CareRange | None,
    warmth: CareRange | None,
    own: CareProfile | None,
    pressure_kpa: float,
    salinity_psu: float,
) -> list[str]:
    """What should be thought over. ``own``: the built-in profile of the tank's species."""
    found = _too_much(oxygen, None if warmth is None else warmth.target_high, pressure_kpa, salinity_psu, "at")
    native = own.range_of(Quantity.TEMPERATURE) if own is not None else None
    if own is not None and own.cool and native is not None and warmth is not None:
        highest = native.target_high
        if highest is not None and warmth.target_high is not None and warmth.target_high > highest:
            found.append(
                f"{own.species} is a cool-water species: its target ends at {highest:g} °C, and"
                f" {warmth.target_high:g} °C would warm it"
            )
    if oxygen is not None and oxygen.danger_low is not None and oxygen.danger_low < 2.0:
        found.append("2 mg/L and less for weeks stunts them (Bonvillain 2015): a danger limit below that comes late")
    return found


def _too_much(
    oxygen: CareRange | None, temperature_c: float | None, pressure_kpa: float, salinity_psu: float, how: str
) -> list[str]:
    if oxygen is None or oxygen.target_low is None or temperature_c is None:
        return []
    try:
        most = saturation_mg_l(temperature_c, pressure_kpa, salinity_psu)
    except OutOfRange:
        return []
    if oxygen.target_low <= most:
        return []
    return [
        f"water holds {most:.1f} mg/L at most {how} {temperature_c:g} °C and {pressure_kpa:.1f} kPa, so a target of"
        f" {oxygen.target_low:g} mg/L and more cannot be kept"
    ]
