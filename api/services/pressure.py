"""The room's station pressure: by a probe that can be believed, else as set, else from the altitude.

Must not do: take a pressure reduced to sea level for the station's without saying so.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.science.pressure import looks_reduced, standard_pressure_kpa
from api.services.partners import PRESSURE_AGE_MS
from api.services.plan import RoomPlan
from api.storage.base import Channel


@dataclass(frozen=True, slots=True)
class Station:
    """Station pressure [kPa] and where it comes from."""

    pressure_kpa: float
    source: str


def station(channels: Iterable[Channel], plan: RoomPlan, now_ms: int) -> Station:
    """The pressure now."""
    for one in channels:
        known = one.quantity is Quantity.PRESSURE and one.value is not None and one.flag < Flag.SUSPECT
        if known and one.probe in plan.probes and now_ms - one.last_ms <= PRESSURE_AGE_MS:
            return Station(one.value or plan.pressure_kpa, f"by probe {one.probe}")
    if plan.room.pressure_kpa is not None:
        return Station(plan.pressure_kpa, "as set in the room file")
    return Station(plan.pressure_kpa, f"standard atmosphere at {plan.room.altitude_m:g} m")


def pressure_warning(plan: RoomPlan) -> str:
    """What is odd about the pressure that is set; empty when nothing is."""
    set_kpa = plan.room.pressure_kpa
    if set_kpa is None or not looks_reduced(set_kpa, plan.room.altitude_m):
        return ""
    usual = standard_pressure_kpa(plan.room.altitude_m)
    too_high = 100 * (set_kpa / usual - 1)
    return (
        f"pressure_kpa = {set_kpa:g} looks reduced to sea level: at {plan.room.altitude_m:g} m station pressure is "
        f"near {usual:.1f} kPa. Oxygen would be {too_high:.0f} % too high. Set the station's own pressure, or leave "
        "the key out and it comes from altitude_m"
    )
