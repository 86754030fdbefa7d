"""What speaks against the care ranges a room file gives its tanks, in words. Must not do: refuse; it warns."""

from __future__ import annotations

from api.domain.care_species import BUILT_IN, profile_for
from api.domain.quantity import Quantity
from api.judge.care_check import doubts, refusals
from api.services.plan import RoomPlan


def care_warnings(plan: RoomPlan) -> tuple[str, ...]:
    """Oxygen no such water can hold, a cool-water species kept warm: each once, with the tanks it is true of."""
    found: dict[str, list[str]] = {}
    for tank in plan.tanks.values():
        oxygen, warmth = (plan.range_of(tank, one) for one in (Quantity.OXYGEN, Quantity.TEMPERATURE))
        native = next((one for one in BUILT_IN if one.name == profile_for(tank.species)), None)
        air = (plan.pressure_kpa, plan.salinity_psu(tank.id))
        for words in dict.fromkeys([*refusals(oxygen, warmth, *air), *doubts(oxygen, warmth, native, *air)]):
            found.setdefault(f"care = {tank.care!r}: {words}", []).append(tank.id)
    return tuple(f"{words} (tank {', '.join(tanks)})." for words, tanks in found.items())
