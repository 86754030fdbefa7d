"""What a derived value leans on: each tank's newest temperatures and the room's newest station pressure.

Remembered for readings that come in order; the past is gone over by ``again.py``. Must not do: derive (``derive.py``).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from api.domain.reading import Flag
from api.services.memory import Layered

MOST = 8
"""Temperatures remembered of one tank: a few rounds of its probes."""
TEMPERATURE_AGE_MS = 900_000
"""How old the tank's temperature may be: still water changes little in a quarter of an hour (judgement). [ms]"""
PRESSURE_AGE_MS = 3 * 3_600_000
"""How old the room's pressure may be: weather moves about 0.1 kPa an hour (judgement). [ms]"""
ROOM = ""
"""The place under which the room's pressure is kept; no tank can have this name."""


@dataclass(frozen=True, slots=True)
class Partner:
    """A usable reading that another value is derived with."""

    time_ms: int
    value: float
    flag: Flag
    probe: str = ""


class Partners:
    """The newest partners of each tank, and of the room, undone with the transaction they came in."""

    def __init__(self) -> None:
        self._kept: Layered[str, tuple[Partner, ...]] = Layered()
        self.begin, self.done, self.settle = self._kept.begin, self._kept.done, self._kept.settle

    def remember(self, place: str, partner: Partner) -> None:
        """Take a partner in."""
        self._kept.put(place, (*(self._kept.get(place) or ())[-MOST + 1 :], partner))

    def revise(self, place: str, probe: str, time_ms: int, flag: Flag) -> None:
        """A later reading decided an earlier one's flag."""
        known = self._kept.get(place) or ()
        for number in range(len(known) - 1, -1, -1):
            one = known[number]
            if one.time_ms == time_ms and one.probe == probe:
                if one.flag is not flag:
                    anew = (Partner(time_ms, one.value, flag, probe),) if flag <= Flag.SUSPECT else ()
                    self._kept.put(place, (*known[:number], *anew, *known[number + 1 :]))
                return

    def temperature(self, tank: str, time_ms: int, probe: str) -> Partner | None:
        """The temperature to derive a reading of ``probe`` with; None when none is near enough in time."""
        known = self._kept.get(tank) or ()
        for one in reversed(known):  # nearly always the probe's own temperature of the same moment
            if one.time_ms == time_ms and one.probe == probe and one.flag < Flag.SUSPECT:
                return one
        return choose(known, time_ms, probe, TEMPERATURE_AGE_MS)

    def pressure(self, time_ms: int) -> Partner | None:
        """The room's station pressure by a probe that can be believed; None: as set, or from the altitude."""
        known = self._kept.get(ROOM)
        if not known:
            return None
        return choose([one for one in known if one.flag < Flag.SUSPECT], time_ms, "", PRESSURE_AGE_MS)


def choose(known: Iterable[Partner], time_ms: int, probe: str, age_ms: int) -> Partner | None:
    """The nearest partner within an age: good before suspect, measured before rather than after, the own probe's."""

    def rank(one: Partner) -> tuple[bool, bool, int, bool]:
        return one.flag >= Flag.SUSPECT, one.time_ms > time_ms, abs(one.time_ms - time_ms), one.probe != probe

    return min((one for one in known if abs(one.time_ms - time_ms) <= age_ms), key=rank, default=None)
