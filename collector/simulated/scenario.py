"""The demo's room: what stands in each tank, and how a tank nobody described is filled in.

Data of our own invention; must not hold physics.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from api.domain.tank import Room, RoomFile, Tank
from collector.simulated.faults import Fault
from collector.simulated.oxygen import pressure_kpa
from collector.simulated.physics import Scene
from collector.simulated.room_air import RoomAir
from collector.simulated.tanks import Tanks, TankSpec

SPECS: dict[str, TankSpec] = {
    "A1": TankSpec(54, 0.28, 3, 22, 50, 26.0, lamp_w=12, meal_first_d=0),
    "A2": TankSpec(15, 0.20, 1, 18, 75, 26.8, air_l_min=1.0, lamp_w=3, pump_w=1, meal_first_d=1),
    "A3": TankSpec(54, 0.28, 4, 20, 50, 25.8, lamp_w=12, meal_first_d=0),
    "A4": TankSpec(20, 0.22, 1, 24, 75, 26.6, air_l_min=1.0, lamp_w=3, pump_w=1, meal_first_d=1),
    "B1": TankSpec(112, 0.40, 8, 26, 100, 26.0, air_l_min=4.0, lamp_w=22, pump_w=5),
    "B2": TankSpec(34, 0.25, 20, 38, 50, 26.4, air_l_min=9.0, transfer_per_m=0.05, water_mg_l_h=0.25, meal_every_d=1),
    "B3": TankSpec(96, 0.36, 6, 30, 100, 25.8, air_l_min=3.5, lamp_w=20, pump_w=4, meal_first_d=1),
    "B4": TankSpec(40, 0.25, 15, 42, 50, 26.2, air_l_min=3.6, transfer_per_m=0.05, water_mg_l_h=0.2, meal_every_d=1),
    "C1": TankSpec(180, 0.45, 10, 35, 150, 26.4, air_l_min=7.0, lamp_w=30, pump_w=8),
    "C2": TankSpec(200, 0.45, 14, 35, 150, 25.8, air_l_min=8.0, lamp_w=40, pump_w=8, lid=False, meal_first_d=1),
    "C3": TankSpec(30, 0.25, 2, 30, 50, 28.3, air_l_min=1.5, lamp_w=5, meal_first_d=1),
    "C4": TankSpec(60, 0.30, 22, 40, 75, 26.6, air_l_min=11.0, transfer_per_m=0.045, water_mg_l_h=0.25, meal_every_d=1),
}
"""B2, B4 and C4 hold animals close together before they are set out singly: without air they have about an hour.
B4's air is on the weak side and C3 is kept warm; the rest is dull, as most tanks are."""


def spec_of(tank: Tank) -> TankSpec:
    """The demo's tank of that name, at the volume the room file gives it, or a middling tank of that volume."""
    known = SPECS.get(tank.id)
    volume_l = tank.volume_l or (known.volume_l if known else 60.0)
    if known and known.volume_l == volume_l:
        return known
    return TankSpec(
        volume_l=volume_l,
        depth_m=min(0.6, max(0.1, 0.075 * volume_l ** (1 / 3))),
        animals=max(1, round(volume_l / 18.0)),
        heater_w=max(15.0, 1.2 * volume_l),
        air_l_min=max(0.5, 0.04 * volume_l),
    )


def scene_of(room_file: RoomFile, seed: int, now_ms: int, faults: Sequence[Fault] = ()) -> Scene:
    """The physical room that a room file describes; lights and meals follow the room's own clock."""
    room = room_file.room
    return Scene(
        tanks=Tanks([spec_of(tank) for tank in room_file.tanks], _pressure_kpa(room), room.salinity_psu),
        names=tuple(tank.id for tank in room_file.tanks),
        air=RoomAir(seed=seed, hours_ahead=_hours_ahead(room.zone, now_ms)),
        faults=tuple(faults),
    )


def _pressure_kpa(room: Room) -> float:
    return room.pressure_kpa if room.pressure_kpa is not None else pressure_kpa(room.altitude_m)


def _hours_ahead(zone: str, now_ms: int) -> float:
    offset = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(ZoneInfo(zone)).utcoffset()
    return offset.total_seconds() / 3600.0 if offset else 0.0
