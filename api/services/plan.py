"""The room's description made ready for the line: for each channel its tank, care range and the alerts it can raise.

Must not do: read files or the store; it is built from records by ``records.py``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from api.domain.alert import AlertKind, Subject
from api.domain.band import Side
from api.domain.calibration import Line
from api.domain.care import CareProfile, CareRange
from api.domain.checks import CheckLimits
from api.domain.morning import USUAL_MORNING, MorningSettings
from api.domain.people import USUAL_LADDER, LadderSettings, Person
from api.domain.quantity import Quantity
from api.domain.tank import Notify, Probe, Room, ServiceSettings, Tank, Value
from api.judge.alert_cycle import Delays
from api.judge.ammonia_care import followed
from api.judge.check_defaults import defaults, merge
from api.judge.samples import KINDS, OTHER_KINDS, delays_of
from api.judge.soft_stage import tighter
from api.judge.stages import Spans, edges_of, stages_at
from api.science.pressure import standard_pressure_kpa
from api.services.care_then import CareThen

EVERY_DAYS = {Quantity.OXYGEN: 30.0, Quantity.OXYGEN_SATURATION: 30.0, Quantity.PH: 14.0}
"""How often a probe should be compared, where the room file does not say: judgement. [d]"""


@dataclass(frozen=True, slots=True)
class ChannelPlan:
    """What the line needs to know of one channel."""

    tank: Tank | None
    care: CareRange | None
    delays: Delays | None
    kinds: tuple[tuple[Subject, Side | None], ...]
    not_known: Subject
    limits: CheckLimits
    lines: tuple[Line, ...] = ()
    unit: str | None = None
    altitude_m: float = 0.0
    company: tuple[str, ...] = ()
    every_s: float = 60.0


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
    lines: Mapping[tuple[str, Quantity], tuple[Line, ...]] = field(default_factory=dict)
    soft: frozenset[str] = frozenset()
    """Tanks that hold a soft animal."""
    people: tuple[Person, ...] = ()
    people_in_file: tuple[Person, ...] = ()
    """People as the room file says; ``people`` are those with what a page has changed."""
    ladder: LadderSettings = USUAL_LADDER
    morning: MorningSettings = USUAL_MORNING
    care_then: CareThen | None = None
    """Care ranges with what people changed, now and in the past."""
    ammonia: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    """pH and temperature of tanks with an ammonia probe, where both are known. [pH, Cel]"""
    stage_spans: Spans | None = None
    """When which tank held animals of which stage, of all that is known; None: nobody looked."""
    stages: Mapping[str, frozenset[str]] = field(default_factory=dict)
    """Tanks with berried animals or young, by stage."""
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
        value = self.value_of(probe, quantity)
        kinds: tuple[tuple[Subject, Side | None], ...] = ()
        if tank is not None and care is not None:
            kinds = tuple(
                (Subject(tank.id, kind, probe, quantity), side) for kind, side in KINDS.get(quantity, OTHER_KINDS)
            )
        company = self._company(probe, quantity, tank) if value is not None else ()
        return ChannelPlan(
            tank=tank,
            care=care,
            delays=delays_of(care) if care is not None else None,
            kinds=kinds,
            not_known=Subject(tank.id if tank else None, AlertKind.NOT_KNOWN, probe, quantity),
            limits=self._limits(described, value, quantity, tank, quantity if company else None),
            lines=self.lines.get((probe, quantity), ()),
            unit=value.unit if value is not None else None,
            altitude_m=self.room.altitude_m,
            company=company,
            every_s=described.every_s if described is not None else 60.0,
        )

    def _limits(
        self, probe: Probe | None, value: Value | None, quantity: Quantity, tank: Tank | None, company: Quantity | None
    ) -> CheckLimits:
        """The quality checks' limits: from physics, with a keeper's own in their place."""
        every_s = probe.every_s if probe is not None else 60.0
        usual = defaults(quantity, every_s, tank.volume_l if tank else None, company)
        return merge(usual, value.checks) if value is not None and value.checks else usual

    def _company(self, probe: str, quantity: Quantity, tank: Tank | None) -> tuple[str, ...]:
        """The tank's other probes that measure the same quantity."""
        others = self.probes_of(tank.id) if tank is not None else ()
        return tuple(one.id for one in others if one.id != probe and self.measures(one.id, quantity))

    def value_of(self, probe: str, quantity: Quantity) -> Value | None:
        """How a probe's quantity is described."""
        described = self.probes.get(probe)
        found = (value for value in described.values if value.quantity is quantity) if described is not None else ()
        return next(iter(found), None)

    def salinity_psu(self, tank: str | None) -> float:
        """A tank's own salinity, else the room's."""
        own = self.tanks[tank].salinity_psu if tank in self.tanks else None
        return self.room.salinity_psu if own is None else own

    def asked_to_calibrate(self) -> list[tuple[str, Quantity]]:
        """The channels somebody has calibrated, or has said how often to."""
        asked = [
            (probe.id, value.quantity)
            for probe in self.probes.values()
            for value in probe.values
            if value.calibrate_every_days is not None
        ]
        return list(dict.fromkeys([*asked, *self.lines]))

    def calibration_due_ms(self, probe: str, quantity: Quantity) -> int | None:
        """When a channel should be compared again; None: never was, or nothing says how often."""
        lines = self.lines.get((probe, quantity))
        value = self.value_of(probe, quantity)
        every_days = (value.calibrate_every_days if value is not None else None) or EVERY_DAYS.get(quantity)
        return lines[-1].from_ms + round(every_days * 86_400_000) if lines and every_days is not None else None

    def measures(self, probe: str, quantity: Quantity) -> bool:
        """Whether a probe delivers this quantity itself."""
        return self.value_of(probe, quantity) is not None

    def range_of(self, tank: Tank, quantity: Quantity) -> CareRange | None:
        """The care range of a quantity in a tank; tighter while an animal there is soft."""
        if self.care_then is not None:
            found = self.care_then.range_of(tank, quantity, self.stages_now(tank.id))
        else:
            profile = self.care.get(tank.care)
            found = profile.range_of(quantity) if profile is not None else None
            found = tighter(found) if found is not None and tank.id in self.soft else found
        if found is None or quantity is not Quantity.AMMONIA or tank.id not in self.ammonia:
            return found
        return followed(found, *self.ammonia[tank.id])

    def stages_now(self, tank: str) -> frozenset[str]:
        """The stages of animals in a tank now."""
        return self.stages.get(tank, frozenset()) | ({"soft"} if tank in self.soft else frozenset())

    def stages_then(self, tank: str, time_ms: int) -> frozenset[str]:
        """The stages of animals in a tank at a time; as now, where no lives were looked through."""
        return self.stages_now(tank) if self.stage_spans is None else stages_at(self.stage_spans, tank, time_ms)

    def moments_ms(self, tank: str) -> tuple[int, ...]:
        """When a tank's care ranges may have changed: people changed them, or a stage began or ended."""
        changed = self.care_then.moments_ms if self.care_then is not None and self.care_then.changes_ever else ()
        return tuple(sorted({*changed, *edges_of(self.stage_spans or {}, tank)}))

    def in_force(self, channel: ChannelPlan, quantity: Quantity, time_ms: int) -> ChannelPlan:
        """A channel with the care range that was in force at a time."""
        if self.care_then is None or channel.tank is None:
            return channel
        stages = self.stages_then(channel.tank.id, time_ms)
        if not self.care_then.changes_ever and stages == self.stages_now(channel.tank.id):
            return channel
        care = self.care_then.range_of(channel.tank, quantity, stages, time_ms)
        return replace(channel, care=care, delays=delays_of(care) if care is not None else None)

    def probes_of(self, tank: str) -> tuple[Probe, ...]:
        """The probes of one tank."""
        return tuple(probe for probe in self.probes.values() if probe.tank == tank)

    def heard_in(self, tank: str) -> tuple[Probe, ...]:
        """The probes of one tank that should be heard now."""
        return tuple(probe for probe in self.probes_of(tank) if probe.live)
