"""The room's description made ready for the line: for each channel its tank, care range and the alerts it can raise.

Must not do: read files or the store; it is built from records by ``records.py``.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from api.domain.alert import AlertKind, Subject
from api.domain.band import Side
from api.domain.care import CareProfile, CareRange
from api.domain.quantity import Quantity
from api.domain.tank import Notify, Probe, Room, ServiceSettings, Tank
from api.judge.alert_cycle import Delays
from api.judge.samples import KINDS, OTHER_KINDS, delays_of
from api.science.pressure import standard_pressure_kpa


@dataclass(frozen=True, slots=True)
class ChannelPlan:
    """What the line needs to know of one channel."""

    tank: Tank | None
    care: CareRange | None
    delays: Delays | None
    kinds: tuple[tuple[Subject, Side | None], ...]
    not_known: Subject


@dataclass
class RoomPlan:
    """Everything the service knows of the room, read-only; a changed room is a new plan."""

    room: Room
    tanks: dict[str, Tank]
    probes: dict[str, Probe]
    care: dict[str, CareProfile]
    notify: tuple[Notify, ...]
    settings: ServiceSettings
    simulated: bool = False
    _channels: dict[tuple[str, Quantity], ChannelPlan] = field(default_factory=dict)

    @property
    def pressure_kpa(self) -> float:
        """Station pressure: as set, else the standard atmosphere at the room's altitude."""
        if self.room.pressure_kpa is not None:
            return self.room.pressure_kpa
        return standard_pressure_kpa(self.room.altitude_m)

    def channel(self, probe: str, quantity: Quantity) -> ChannelPlan:
        """The plan of one channel; a probe nobody claimed has no tank and is not judged."""
        known = self._channels.get((probe, quantity))
        if known is None:
            known = self._channels[probe, quantity] = self._make(probe, quantity)
        return known

    def _make(self, probe: str, quantity: Quantity) -> ChannelPlan:
        described = self.probes.get(probe)
        tank = self.tanks.get(described.tank) if described is not None and described.tank is not None else None
        care = self.range_of(tank, quantity) if tank is not None else None
        not_known = Subject(tank.id if tank else None, AlertKind.NOT_KNOWN, probe, quantity)
        if tank is None or care is None:
            return ChannelPlan(tank, None, None, (), not_known)
        kinds = tuple(
            (Subject(tank.id, kind, probe, quantity), side) for kind, side in KINDS.get(quantity, OTHER_KINDS)
        )
        return ChannelPlan(tank, care, delays_of(care), kinds, not_known)

    def measures(self, probe: str, quantity: Quantity) -> bool:
        """Whether a probe delivers this quantity itself."""
        described = self.probes.get(probe)
        return described is not None and any(value.quantity is quantity for value in described.values)

    def range_of(self, tank: Tank, quantity: Quantity) -> CareRange | None:
        """The care range of a quantity in a tank."""
        profile = self.care.get(tank.care)
        return profile.range_of(quantity) if profile is not None else None

    def probes_of(self, tank: str) -> tuple[Probe, ...]:
        """The probes of one tank."""
        return tuple(probe for probe in self.probes.values() if probe.tank == tank)
