"""The checking half of the line: a pack's raw readings to checked ones, each oxygen with its other quantity.

Readings come in the order of time; those older than their channel's newest wait for ``again.py``. Must not do: keep.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from api.domain.quantity import Quantity
from api.domain.reading import Arrival, CheckedReading, Flag, RawReading
from api.judge.samples import usable
from api.services.convert import convert
from api.services.derive import OTHER, Water, derive, worst
from api.services.memory import Layered
from api.services.partners import ROOM, Partner, Partners
from api.services.plan import ChannelPlan, RoomPlan
from api.services.streams import Key, Streams
from api.storage.base import Revision, Store

WAITS = "came late, after newer readings; its checks are made when the rest has come"


@dataclass(slots=True)
class Checked:
    """What a pack became. ``behind`` are readings older than the newest of their channel.

    ``heard`` holds each reading with the flag it had when it was the newest one, as it is judged; a later reading of
    the same pack may already have decided more, and that is how ``readings`` are kept.
    """

    heard: list[CheckedReading] = field(default_factory=list)
    readings: list[CheckedReading] = field(default_factory=list)
    places: dict[tuple[str, Quantity, int], int] = field(default_factory=dict)
    revisions: dict[tuple[str, Quantity, int], Revision] = field(default_factory=dict)
    behind: list[CheckedReading] = field(default_factory=list)

    def take(self, reading: CheckedReading) -> None:
        """A reading newer than all of its channel."""
        self.places[reading.probe, reading.quantity, reading.time_ms] = len(self.readings)
        self.heard.append(reading)
        self.readings.append(reading)

    def revise(self, change: Revision) -> None:
        """A second thought about a reading of this pack or of an earlier one."""
        key = (change.probe, change.quantity, change.time_ms)
        place = self.places.get(key)
        if place is None:
            self.revisions[key] = change
        else:
            self.readings[place] = with_flag(self.readings[place], change.flag, change.reason)


def with_flag(r: CheckedReading, flag: Flag, reason: str) -> CheckedReading:
    """A reading with another flag; written out, as it is done twice a reading."""
    return CheckedReading(
        r.probe, r.quantity, r.time_ms, r.raw_value, r.raw_unit, r.value, flag, reason, r.derived, r.arrival
    )


class Station:
    """Converts, checks and derives; remembers each channel's newest time."""

    def __init__(self, store: Store, plan: RoomPlan) -> None:
        self.newest: Layered[Key, int] = Layered()
        self.streams = Streams(store)
        self._partners = Partners()
        for channel in store.readings.channels():
            self.newest.settled[channel.probe, channel.quantity] = channel.last_ms
            if channel.value is not None and not channel.derived:
                told = CheckedReading(
                    channel.probe, channel.quantity, channel.last_ms, 0.0, "", channel.value, channel.flag
                )
                self._partner(told, plan)
        self._partners.done()
        self._partners.settle(True)

    def begin(self) -> None:
        """A new pack."""
        self.newest.begin()
        self.streams.begin()
        self._partners.begin()

    def done(self) -> None:
        """The pack's work succeeded."""
        self.newest.done()
        self.streams.done()
        self._partners.done()

    def settle(self, kept: bool) -> None:
        """The transaction ended."""
        self.newest.settle(kept)
        self.streams.settle(kept)
        self._partners.settle(kept)

    def check(self, raws: Sequence[RawReading], plan: RoomPlan, late_before_ms: int) -> Checked:
        """Check a pack, its readings in the order of time and temperatures first."""
        out = Checked()
        channels = [plan.channel(raw.probe, raw.quantity) for raw in raws]
        converted = [convert(raw, channel) for raw, channel in zip(raws, channels, strict=True)]
        for reading, channel in zip(converted, channels, strict=True):
            if channel.company:
                self.streams.hear(reading)
        for raw, reading, channel in zip(raws, converted, channels, strict=True):
            key = (raw.probe, raw.quantity)
            known_ms = self.newest.get(key)
            if known_ms is not None and raw.time_ms <= known_ms:
                flag, reason = (reading.flag, reading.reason) if reading.reason else (Flag.NOT_EVALUATED, WAITS)
                out.behind.append(replace(reading, flag=flag, reason=reason, arrival=Arrival.WAITING))
                continue
            if raw.time_ms < late_before_ms:
                reading = replace(reading, arrival=Arrival.LATE)
            self.newest.put(key, raw.time_ms)
            self._one(reading, channel, plan, out)
        return out

    def _one(self, reading: CheckedReading, channel: ChannelPlan, plan: RoomPlan, out: Checked) -> None:
        step = self.streams.step(reading, channel)
        checked = with_flag(reading, step.flag, step.reason)
        out.take(checked)
        if step.revised is not None:
            self._revised(checked, step.revised, channel, plan, out)
        self._partner(checked, plan)
        derived = self._derived(checked, channel, plan)
        if derived is not None:
            out.take(derived)
            self.newest.put((derived.probe, derived.quantity), derived.time_ms)

    def _revised(
        self,
        reading: CheckedReading,
        revised: tuple[int, Flag, str],
        channel: ChannelPlan,
        plan: RoomPlan,
        out: Checked,
    ) -> None:
        """What this reading decided of the one before, and of what was derived from that."""
        time_ms, flag, reason = revised
        out.revise(Revision(reading.probe, reading.quantity, time_ms, flag, reason))
        place = self._place(reading, plan)
        if place is not None:
            self._partners.revise(place, reading.probe, time_ms, flag)
        tank = channel.tank
        if tank is not None and self._derives(reading, plan):
            partner = self._partners.temperature(tank.id, time_ms, reading.probe)
            if partner is not None:
                other = OTHER[reading.quantity]
                whole = worst(flag, worst(partner.flag, self._water(tank.id, time_ms, plan).pressure_flag))
                out.revise(Revision(reading.probe, other, time_ms, whole, reason))

    def _partner(self, reading: CheckedReading, plan: RoomPlan) -> None:
        place = self._place(reading, plan)
        if place is not None and reading.value is not None and usable(reading):
            self._partners.remember(place, Partner(reading.time_ms, reading.value, reading.flag, reading.probe))

    def _place(self, reading: CheckedReading, plan: RoomPlan) -> str | None:
        """Where a reading serves as partner: a tank's temperature there, a pressure in the whole room."""
        if reading.quantity is Quantity.TEMPERATURE:
            tank = plan.channel(reading.probe, reading.quantity).tank
            return tank.id if tank is not None else None
        if reading.quantity is Quantity.PRESSURE and reading.probe in plan.probes:
            return ROOM
        return None

    def _derives(self, reading: CheckedReading, plan: RoomPlan) -> bool:
        other = OTHER.get(reading.quantity)
        return other is not None and not plan.measures(reading.probe, other)

    def _derived(self, reading: CheckedReading, channel: ChannelPlan, plan: RoomPlan) -> CheckedReading | None:
        if channel.tank is None or not self._derives(reading, plan):
            return None
        partner = self._partners.temperature(channel.tank.id, reading.time_ms, reading.probe)
        return derive(reading, partner, self._water(channel.tank.id, reading.time_ms, plan))

    def _water(self, tank: str, time_ms: int, plan: RoomPlan) -> Water:
        pressure = self._partners.pressure(time_ms)
        if pressure is None:
            return Water(plan.pressure_kpa, plan.salinity_psu(tank))
        return Water(pressure.value, plan.salinity_psu(tank), pressure.flag)

    def pressure_kpa(self, time_ms: int, plan: RoomPlan) -> float:
        """The room's station pressure at a time: by a probe, as set, or from the altitude. [kPa]"""
        pressure = self._partners.pressure(time_ms)
        return plan.pressure_kpa if pressure is None else pressure.value
