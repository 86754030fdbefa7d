"""What is wrong or odd in a room's description beyond its form: units, limits that contradict, odd pressures.

Must not do: read files (``api/room_text.py``) or keep anything.
"""

from __future__ import annotations

from api.domain.errors import InputError
from api.domain.tank import RoomFile
from api.science.units import converter
from api.services.care_warnings import care_warnings
from api.services.people_check import people_warnings
from api.services.plan import RoomPlan
from api.services.pressure import pressure_warning


def plan_of(file: RoomFile) -> RoomPlan:
    """The plan a room file makes by itself."""
    return RoomPlan(
        room=file.room,
        tanks={tank.id: tank for tank in file.tanks},
        probes={probe.id: probe for probe in file.probes},
        care={profile.name: profile for profile in file.care},
        notify=file.notify,
        settings=file.service,
        simulated=file.simulated is not None,
        people=file.people,
        ladder=file.ladder,
    )


def check_room(file: RoomFile) -> tuple[str, ...]:
    """Warnings of a room file.

    Raises InputError when a probe's unit or limits cannot be used, naming the probe and the quantity.
    """
    plan = plan_of(file)
    for probe in file.probes:
        for value in probe.values:
            try:
                converter(value.quantity, value.unit)
                plan.channel(probe.id, value.quantity)
            except InputError as error:
                where = f"line {probe.line}: " if probe.line else ""
                raise InputError(f"{where}probe {probe.id!r}, {value.quantity}: {error}") from error
    return tuple(filter(None, [pressure_warning(plan), *care_warnings(plan), *people_warnings(plan)]))
