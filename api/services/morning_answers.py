"""What the morning report tells, as frozen answers. Must not do: compute."""

from __future__ import annotations

from dataclasses import dataclass

from api.domain.alert import AlertKind, Priority
from api.domain.band import Band
from api.domain.quantity import Quantity
from api.domain.tank import Tank
from api.judge.night import NightWater


@dataclass(frozen=True, slots=True)
class NightQuantity:
    """One quantity of a tank's probe; ``water`` None: nothing is known of that night."""

    probe: str
    quantity: Quantity
    water: NightWater | None
    flagged: int


@dataclass(frozen=True, slots=True)
class NightAlert:
    """An alert that stood in the night; ``ended_ms`` None: it still does."""

    id: int
    tank: str | None
    kind: AlertKind
    priority: Priority
    since_ms: int
    ended_ms: int | None
    found_late: bool
    person: str


@dataclass(frozen=True, slots=True)
class NightTank:
    """One tank's night; ``band`` the worst it was in, UNKNOWN where nothing is known of a quantity it is judged by."""

    tank: Tank
    band: Band
    quantities: tuple[NightQuantity, ...]
    alerts: tuple[NightAlert, ...]


@dataclass(frozen=True, slots=True)
class Distrust:
    """A probe that cannot be trusted, and why, each in a few words; ``now``: it still is so."""

    probe: str
    tank_name: str
    why: tuple[str, ...]
    now: bool


@dataclass(frozen=True, slots=True)
class Done:
    """What somebody did. ``tank`` empty: it concerns no tank, or all."""

    time_ms: int
    person: str
    what: str
    tank: str = ""


@dataclass(frozen=True, slots=True)
class DueToday:
    """What is to be done or expected today; ``when_ms`` None: at any time. ``overdue``: its time has passed."""

    what: str
    when_ms: int | None
    path: str
    overdue: bool = False


@dataclass(frozen=True, slots=True)
class MorningReport:
    """The night that ended on ``day``, worst tanks first; ``end_ms`` is now while it has not ended."""

    day: str
    start_ms: int
    end_ms: int
    made_ms: int
    over: bool
    tanks: tuple[NightTank, ...]
    room_alerts: tuple[NightAlert, ...]
    distrusted: tuple[Distrust, ...]
    done: tuple[Done, ...]
    due: tuple[DueToday, ...]
    standing: int

    @property
    def astray(self) -> tuple[NightTank, ...]:
        """Tanks that left their target for long enough to be said, or of which something is not known."""
        return tuple(one for one in self.tanks if one.band is not Band.TARGET)
