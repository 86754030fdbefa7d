"""What a derived value leans on: each tank's newest temperatures and the room's newest station pressure.

Remembered for readings that come in order; the past is gone over by ``again.py``. Must not do: derive (``derive.py``).
"""

from __future__ import annotations

from bisect import insort
from collections.abc import Iterable
from dataclasses import dataclass

from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag, KeptReading
from api.judge.samples import usable
from api.services.memory import Layered
from api.services.plan import RoomPlan
from api.storage.base import Channel, Store

MOST = 16
"""Partners remembered of one place: a few rounds of its probes."""
TEMPERATURE_AGE_MS = 900_000
"""How old the tank's temperature may be: still water changes little in a quarter of an hour (judgement). [ms]"""
PRESSURE_AGE_MS = 3 * 3_600_000
"""How old the room's pressure may be: weather moves about 0.1 kPa an hour (judgement). [ms]"""
ROOM = ""
"""The place under which the room's pressure is kept; no tank can have this name."""
EVER = -1


@dataclass(frozen=True, slots=True)
class Partner:
    """A usable reading that another value is derived with."""

    time_ms: int
    value: float
    flag: Flag
    probe: str = ""


@dataclass(frozen=True, slots=True)
class Known:
    """A place's newest partners in the order of time: all that there are since a time."""

    partners: tuple[Partner, ...] = ()
    since_ms: int = EVER


class Partners:
    """The newest partners of each tank, and of the room, undone with the transaction they came in."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._kept: Layered[str, Known] = Layered()
        self.begin, self.done, self.settle = self._kept.begin, self._kept.done, self._kept.settle

    def load(self, channels: Iterable[Channel], plan: RoomPlan, place: str | None = None) -> None:
        """Begin with what is kept, everywhere or in one place."""
        found: dict[str, Known] = {} if place is None else {place: Known()}
        for channel in channels:
            here = place_of(channel.probe, channel.quantity, plan)
            if here is None or channel.derived or place not in (None, here):
                continue
            rows = self._store.revisions.newest(channel.probe, channel.quantity, 2**62, MOST)
            known = found.get(here, Known())
            since_ms = max(known.since_ms, rows[0].time_ms) if len(rows) == MOST else known.since_ms
            found[here] = Known((*known.partners, *partners_of(channel.probe, channel.quantity, rows)), since_ms)
        for here, known in found.items():
            newest = sorted((one for one in known.partners if one.time_ms >= known.since_ms), key=_in_time)
            self._kept.put(here, _shortened(newest, known.since_ms))

    def remember(self, place: str, partner: Partner) -> None:
        """Take a partner in."""
        known = self._kept.get(place) or Known()
        if partner.time_ms < known.since_ms:
            return
        anew = list(known.partners)
        insort(anew, partner, key=_in_time)
        self._kept.put(place, _shortened(anew, known.since_ms))

    def revise(self, place: str, probe: str, time_ms: int, flag: Flag) -> Flag | None:
        """A later reading decided an earlier one's flag; the flag it had, None where nothing changed."""
        known = self._kept.get(place) or Known()
        for number in range(len(known.partners) - 1, -1, -1):
            one = known.partners[number]
            if one.time_ms == time_ms and one.probe == probe:
                if one.flag is flag:
                    return None
                serves = flag <= Flag.SUSPECT if place != ROOM else flag < Flag.SUSPECT
                anew = (Partner(time_ms, one.value, flag, probe),) if serves else ()
                partners = (*known.partners[:number], *anew, *known.partners[number + 1 :])
                self._kept.put(place, Known(partners, known.since_ms))
                return one.flag
        return None

    def temperature(self, tank: str, time_ms: int, probe: str) -> Partner | None:
        """The temperature to derive a reading of ``probe`` with; None when none is near enough in time."""
        known = self._kept.get(tank)
        if known is None:
            return None
        for one in reversed(known.partners):  # nearly always the probe's own temperature of the same moment
            if one.time_ms == time_ms and one.probe == probe and one.flag < Flag.SUSPECT:
                return one
        return choose(known.partners, time_ms, probe, TEMPERATURE_AGE_MS)

    def pressure(self, time_ms: int) -> Partner | None:
        """The room's station pressure by a probe that can be believed; None: as set, or from the altitude."""
        known = self._kept.get(ROOM)
        return choose(known.partners, time_ms, "", PRESSURE_AGE_MS) if known is not None else None

    def since_ms(self, place: str) -> int:
        """Since when every partner of a place is remembered."""
        known = self._kept.get(place)
        return EVER if known is None else known.since_ms


def place_of(probe: str, quantity: Quantity, plan: RoomPlan) -> str | None:
    """Where a reading serves as partner: a tank's temperature there, a pressure in the whole room."""
    if quantity is Quantity.TEMPERATURE:
        tank = plan.channel(probe, quantity).tank
        return tank.id if tank is not None else None
    if quantity is Quantity.PRESSURE and probe in plan.probes:
        return ROOM
    return None


def partner_of(reading: CheckedReading) -> Partner | None:
    """A reading as a partner; a suspect pressure is none, as there is another one to fall back on."""
    if reading.value is None or not usable(reading):
        return None
    if reading.quantity is Quantity.PRESSURE and reading.flag >= Flag.SUSPECT:
        return None
    return Partner(reading.time_ms, reading.value, reading.flag, reading.probe)


def partners_of(probe: str, quantity: Quantity, rows: Iterable[KeptReading]) -> list[Partner]:
    """Kept readings as partners."""
    readings = (CheckedReading(probe, quantity, row.time_ms, 0.0, "", row.value, row.flag) for row in rows)
    return [one for one in map(partner_of, readings) if one is not None]


def choose(known: Iterable[Partner], time_ms: int, probe: str, age_ms: int) -> Partner | None:
    """The nearest partner within an age: good before suspect, measured before rather than after, the own probe's."""

    def rank(one: Partner) -> tuple[bool, bool, int, bool, str]:
        off_ms = one.time_ms - time_ms
        return one.flag >= Flag.SUSPECT, off_ms > 0, abs(off_ms), one.probe != probe, one.probe

    return min((one for one in known if abs(one.time_ms - time_ms) <= age_ms), key=rank, default=None)


def _in_time(one: Partner) -> int:
    return one.time_ms


def _shortened(partners: list[Partner], since_ms: int) -> Known:
    """The newest of them, and since when they are all there are."""
    if len(partners) <= MOST:
        return Known(tuple(partners), since_ms)
    kept = tuple(partners[-MOST:])
    return Known(kept, max(since_ms, partners[-MOST - 1].time_ms + 1))
