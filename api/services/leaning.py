"""The derived values of readings as they come, and which earlier ones have to be made again as their partners come.

A partner may come after the reading that leans on it, or be doubted later. What can be settled at once is revised;
the rest waits for ``again.py``. Must not do: derive by itself (``derive.py``), or keep.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag
from api.judge.check_stream import Revised
from api.services.checked import Checked, with_flag
from api.services.derive import OTHER, Water, derive
from api.services.memory import Layered
from api.services.partners import PRESSURE_AGE_MS, ROOM, TEMPERATURE_AGE_MS, Partner, Partners
from api.services.plan import ChannelPlan, RoomPlan
from api.storage.base import DERIVED, Channel, Revision

Key = tuple[str, Quantity]
NEVER = -1


@dataclass(frozen=True, slots=True)
class Doubt:
    """The newest value that had no good partner at or before its time, and the first good partner after that."""

    unsure_ms: int = NEVER
    answered_ms: int = NEVER

    def open_to(self, time_ms: int, age_ms: int) -> bool:
        """Whether a partner of a time can change what was derived before it."""
        return self.unsure_ms >= time_ms - age_ms and not self.unsure_ms < self.answered_ms < time_ms

    def unsure(self, time_ms: int) -> Doubt:
        """A value without a good partner at or before its time."""
        return replace(self, unsure_ms=max(self.unsure_ms, time_ms))


@dataclass(frozen=True, slots=True)
class Lean:
    """What is known of a channel that another quantity is derived from.

    ``reading`` and ``derived`` are the newest, with the partners it was made with; None where it was made by
    ``again.py`` or has to be. ``before_ms``: the reading before the newest one.
    """

    newest_ms: int
    before_ms: int = NEVER
    reading: CheckedReading | None = None
    derived: CheckedReading | None = None
    warmth: Partner | None = None
    air: Partner | None = None
    warmth_doubt: Doubt = Doubt()
    air_doubt: Doubt = Doubt()


class Leaning:
    """Derives, and watches over what was derived."""

    def __init__(self, partners: Partners) -> None:
        self._partners = partners
        self._leans: Layered[Key, Lean] = Layered()
        self._keys: dict[Key, None] = {}
        self._places: tuple[RoomPlan, int, dict[str, list[Key]]] | None = None
        self.begin, self.done, self.settle = self._leans.begin, self._leans.done, self._leans.settle

    def load(self, channels: Iterable[Channel], plan: RoomPlan) -> None:
        """Begin with what is kept: of it nothing is known, so all of it may still change."""
        for one in channels:
            if not one.derived and one.last_ms >= 0 and derives(one.probe, one.quantity, plan):
                doubt = Doubt(one.last_ms)
                self._put(
                    (one.probe, one.quantity),
                    Lean(one.last_ms, one.last_ms, warmth_doubt=doubt, air_doubt=doubt),
                )

    def take(
        self, reading: CheckedReading, revised: Revised | None, channel: ChannelPlan, plan: RoomPlan, out: Checked
    ) -> CheckedReading | None:
        """The other quantity of a reading that is newer than all of its channel; None where nothing is derived."""
        if channel.tank is None or not derives(reading.probe, reading.quantity, plan):
            return None
        key = (reading.probe, reading.quantity)
        lean = self._leans.get(key)
        if lean is not None:
            self._settle(key, lean, revised, channel, plan, out)
        warmth, air = self._of(reading, channel)
        derived = derive(reading, warmth, water(air, channel, plan))
        sure_of_warmth, sure_of_air = _sure(warmth, reading.time_ms), _sure(air, reading.time_ms)
        all_warmth = self._partners.since_ms(channel.tank.id) <= reading.time_ms - TEMPERATURE_AGE_MS
        all_air = self._partners.since_ms(ROOM) <= reading.time_ms - PRESSURE_AGE_MS
        known = (sure_of_warmth or all_warmth) and (sure_of_air or all_air)
        if not known:
            out.wait(key, DERIVED, reading.time_ms, reading.time_ms + 1)
        warmth_doubt, air_doubt = (lean.warmth_doubt, lean.air_doubt) if lean is not None else (Doubt(), Doubt())
        self._put(
            key,
            Lean(
                reading.time_ms,
                lean.newest_ms if lean is not None else NEVER,
                reading if known else None,
                derived,
                warmth,
                air,
                warmth_doubt if sure_of_warmth else warmth_doubt.unsure(reading.time_ms),
                air_doubt if sure_of_air else air_doubt.unsure(reading.time_ms),
            ),
        )
        return derived

    def _settle(
        self, key: Key, lean: Lean, revised: Revised | None, channel: ChannelPlan, plan: RoomPlan, out: Checked
    ) -> None:
        """Derive the newest reading so far once more: its own checks are over now, or its partner's."""
        if revised is not None and revised.time_ms != lean.newest_ms:
            out.wait(key, DERIVED, revised.time_ms, revised.time_ms + 1)
        if lean.reading is None or lean.derived is None:
            out.wait(key, DERIVED, lean.newest_ms, lean.newest_ms + 1)
            return
        warmth, air = self._of(lean.reading, channel)
        reading = lean.reading
        if revised is not None and revised.time_ms == lean.newest_ms:
            reading = with_flag(reading, revised.flag, revised.reason)
        elif warmth is lean.warmth and air is lean.air:
            return
        before, again = lean.derived, derive(reading, warmth, water(air, channel, plan))
        if again.value != before.value or again.flag < Flag.SUSPECT <= before.flag:
            out.wait(key, DERIVED, lean.newest_ms, lean.newest_ms + 1)
        elif (again.flag, again.reason) != (before.flag, before.reason):
            out.revise(Revision(again.probe, again.quantity, again.time_ms, again.flag, again.reason))

    def _of(self, reading: CheckedReading, channel: ChannelPlan) -> tuple[Partner | None, Partner | None]:
        tank = channel.tank.id if channel.tank is not None else ""
        warmth = self._partners.temperature(tank, reading.time_ms, reading.probe)
        return warmth, self._partners.pressure(reading.time_ms)

    def heard(self, place: str, partner: Partner, plan: RoomPlan, out: Checked) -> None:
        """A new partner: what was derived without it, though it is nearer, is made again."""
        age_ms = PRESSURE_AGE_MS if place == ROOM else TEMPERATURE_AGE_MS
        for key in self._at(place, plan):
            lean = self._leans.get(key)
            if lean is None or partner.time_ms - age_ms > lean.newest_ms:
                continue
            doubt = lean.air_doubt if place == ROOM else lean.warmth_doubt
            is_open = doubt.open_to(partner.time_ms, age_ms)
            start_ms = partner.time_ms - age_ms if is_open else partner.time_ms
            self._wait(key, lean, start_ms, partner.time_ms + age_ms, out)
            if is_open and partner.flag < Flag.SUSPECT and partner.time_ms > doubt.unsure_ms:
                self._doubt(key, place, replace(doubt, answered_ms=partner.time_ms))

    def revised(self, place: str, time_ms: int, before: Flag, now: Flag, plan: RoomPlan, out: Checked) -> None:
        """A partner's flag has changed: what was derived with it and is not looked at any more is made again."""
        age_ms = PRESSURE_AGE_MS if place == ROOM else TEMPERATURE_AGE_MS
        for key in self._at(place, plan):
            lean = self._leans.get(key)
            if lean is None:
                continue
            doubt = lean.air_doubt if place == ROOM else lean.warmth_doubt
            if max(before, now) >= Flag.SUSPECT or doubt.answered_ms == time_ms:
                self._wait(key, lean, time_ms - age_ms, time_ms + age_ms, out)
            elif lean.before_ms >= time_ms:
                self._wait(key, lean, time_ms, time_ms + age_ms, out)

    def _wait(self, key: Key, lean: Lean, start_ms: int, last_ms: int, out: Checked) -> None:
        last_ms = min(last_ms, lean.newest_ms)
        if start_ms <= last_ms:
            out.wait(key, DERIVED, start_ms, last_ms + 1)
            if last_ms == lean.newest_ms:
                self._put(key, replace(lean, reading=None))

    def _doubt(self, key: Key, place: str, doubt: Doubt) -> None:
        lean = self._leans.get(key)
        if lean is not None:
            anew = replace(lean, air_doubt=doubt) if place == ROOM else replace(lean, warmth_doubt=doubt)
            if anew != lean:
                self._put(key, anew)

    def made_again(self, key: Key, time_ms: int) -> None:
        """A derived value was made anew; if it is the newest one, what is remembered of it holds no longer."""
        lean = self._leans.get(key)
        if lean is not None and lean.newest_ms <= time_ms:
            self._put(key, replace(lean, reading=None))

    def _put(self, key: Key, lean: Lean) -> None:
        self._keys[key] = None
        self._leans.put(key, lean)

    def _at(self, place: str, plan: RoomPlan) -> list[Key]:
        """The channels that lean on a place's partners."""
        known = self._places
        if known is None or known[0] is not plan or known[1] != len(self._keys):
            found: dict[str, list[Key]] = {}
            for key in self._keys:
                tank = plan.channel(*key).tank
                if tank is not None:
                    found.setdefault(tank.id, []).append(key)
                    found.setdefault(ROOM, []).append(key)
            known = self._places = (plan, len(self._keys), found)
        return known[2].get(place, [])


def derives(probe: str, quantity: Quantity, plan: RoomPlan) -> bool:
    """Whether a probe's quantity gives another one that the probe does not measure itself."""
    other = OTHER.get(quantity)
    return other is not None and plan.channel(probe, quantity).tank is not None and not plan.measures(probe, other)


def water(air: Partner | None, channel: ChannelPlan, plan: RoomPlan) -> Water:
    """What else a value of a channel depends on: station pressure by a probe, else the room's; salinity."""
    salinity_psu = plan.salinity_psu(channel.tank.id if channel.tank is not None else None)
    if air is None:
        return Water(plan.pressure_kpa, salinity_psu)
    return Water(air.value, salinity_psu, air.flag)


def _sure(partner: Partner | None, time_ms: int) -> bool:
    """Whether only a partner that comes late can be a better one."""
    return partner is not None and partner.flag < Flag.SUSPECT and partner.time_ms <= time_ms
