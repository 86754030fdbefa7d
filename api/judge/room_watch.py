"""Tanks that leave their usual at the same time and in the same way: then it is the room, told once.

Pure. Must not do: look at readings (``tank_watch.py`` does), or keep alerts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from api.domain.alert import AlertKind
from api.domain.cause import Cause, CauseName

FEWEST, SHARE, OVER_SHARE = 3, 0.5, 0.25
"""Room-wide: three tanks at least and half of those heard; over when fewer than a quarter (judgement)."""
LASTS_MS = 900_000
"""Warmth takes its time: a thermostat's turn is over sooner than a quarter of an hour beyond the usual."""
EVERY_MS = 60_000
"""So often the room is looked at, even when no tank fares otherwise."""
HEARD_MS = 2_400_000
"""Tanks not heard for 40 minutes do not count."""


class Departure(NamedTuple):
    """One tank's newest look: -1 below its usual and falling, 1 above and rising, 0 as usual.

    ``starves``: want of oxygen is expected; ``urgent``: within hours.
    """

    time_ms: int
    heat: int
    oxygen: int
    starves: bool = False
    urgent: bool = False


@dataclass(frozen=True, slots=True)
class RoomFinding:
    """What the room does: the alert kind it stands for, how many tanks of how many, and the likeliest cause."""

    kind: AlertKind
    tanks: tuple[str, ...]
    heard: int
    cause: Cause
    urgent: bool = False


class RoomWatch:
    """Remembers each tank's newest look."""

    def __init__(self) -> None:
        self._looks: dict[str, Departure] = {}
        self._warm_since: dict[str, int] = {}
        self._standing: set[AlertKind] = set()
        self._leaving: set[str] = set()

    @property
    def quiet(self) -> bool:
        """Whether a look at the room finds nothing, whatever the time."""
        return not self._standing and len(self._leaving) < FEWEST

    def newest(self, tank: str) -> Departure | None:
        """A tank's newest look."""
        return self._looks.get(tank)

    def again(self, tank: str, time_ms: int) -> None:
        """A tank fares as at its last look."""
        self._looks[tank] = self._looks[tank]._replace(time_ms=time_ms)

    def take(self, tank: str, look: Departure) -> bool:
        """A tank's new look. True when it departs otherwise than before."""
        before = self._looks.get(tank)
        self._looks[tank] = look
        if look.heat or look.oxygen:
            self._leaving.add(tank)
        else:
            self._leaving.discard(tank)
        if before is None or before.heat != look.heat:
            self._warm_since[tank] = look.time_ms
        return before is None or before[1:] != look[1:]

    def forget(self, tank: str) -> None:
        """A tank that is no longer followed."""
        self._looks.pop(tank, None)
        self._warm_since.pop(tank, None)
        self._leaving.discard(tank)

    def others(self, tank: str, now_ms: int) -> tuple[int, int, int, int]:
        """How many other tanks are heard, and how many of them cool, warm and lose oxygen."""
        looks = [look for name, look in self._looks.items() if name != tank and now_ms - look.time_ms < HEARD_MS]
        return (
            len(looks),
            sum(look.heat < 0 for look in looks),
            sum(look.heat > 0 for look in looks),
            sum(look.oxygen < 0 for look in looks),
        )

    def findings(self, now_ms: int) -> dict[AlertKind, RoomFinding | None]:
        """What stands for the whole room; None for a kind that has just ended."""
        if self.quiet:
            return {}
        heard = {name: look for name, look in self._looks.items() if now_ms - look.time_ms < HEARD_MS}
        starve = tuple(name for name, look in heard.items() if look.oxygen < 0)
        lasting = {name for name in heard if now_ms - self._warm_since[name] >= LASTS_MS}
        cool = tuple(name for name, look in heard.items() if look.heat < 0 and name in lasting)
        warm = tuple(name for name, look in heard.items() if look.heat > 0 and name in lasting)
        out: dict[AlertKind, RoomFinding | None] = {}
        for kind, tanks in ((AlertKind.LOW_OXYGEN, starve), (AlertKind.COLD, cool), (AlertKind.HEAT, warm)):
            # every evening all tanks lose some oxygen when the lights go off: only where one of them will want for it
            idle = kind is AlertKind.LOW_OXYGEN and not cool and not any(look.starves for look in heard.values())
            if self._wide(kind, len(tanks), len(heard)) and not idle:
                self._standing.add(kind)
                urgent = kind is AlertKind.LOW_OXYGEN and any(look.urgent for look in heard.values())
                cause = _cause(kind, tanks, cool, starve, len(heard))
                out[kind] = RoomFinding(kind, tanks, len(heard), cause, urgent)
            elif kind in self._standing:
                self._standing.discard(kind)
                out[kind] = None
        return out

    def _wide(self, kind: AlertKind, many: int, heard: int) -> bool:
        if kind in self._standing:
            return many >= max(1.0, OVER_SHARE * heard)
        return many >= FEWEST and many >= SHARE * heard


def _cause(
    kind: AlertKind, tanks: tuple[str, ...], cool: tuple[str, ...], starve: tuple[str, ...], heard: int
) -> Cause:
    evidence = [f"{len(tanks)} of {heard} tanks at the same time"]
    if kind is AlertKind.HEAT:
        return Cause(CauseName.ROOM_HEATING, 0.9, tuple(evidence))
    if starve and cool:
        evidence.append(f"{len(starve)} lose oxygen and {len(cool)} cool: air and heaters went together")
        return Cause(CauseName.POWER_CUT, 0.8, tuple(evidence))
    if kind is AlertKind.LOW_OXYGEN:
        evidence.append("the air of many tanks comes from one pump or one socket")
        return Cause(CauseName.POWER_CUT, 0.6, tuple(evidence))
    return Cause(CauseName.ROOM_COOLING, 0.85, tuple(evidence))
