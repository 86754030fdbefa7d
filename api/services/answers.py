"""What the pages and the JSON routes are told: frozen answers to the questions in ``read.py``.

Values are in canonical units (Cel, mg/L, %); showing them in other units is the page's work. Must not do: compute.
"""

from __future__ import annotations

from dataclasses import dataclass

from api.domain.alert import AlertKind, AlertState, Priority
from api.domain.band import Band, Side
from api.domain.care import CareRange
from api.domain.cause import Cause
from api.domain.life import Stage
from api.domain.outlook import Outlook
from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.domain.tank import Room, Tank
from api.judge.what_to_do import ToDo
from api.storage.base import OutboxRow


@dataclass(frozen=True, slots=True)
class Latest:
    """The newest reading of one probe's one quantity, judged. ``value`` None: not usable, ``reason`` says why.

    ``quiet`` means no reading has come for too long: the value is then old and must not be shown as current.
    ``trend_per_hour`` is the slope of the last half hour, None when there are too few readings.
    ``partner`` is the same oxygen in the other unit's quantity (mg/L beside percent), if it could be derived.
    """

    probe: str
    quantity: Quantity
    value: float | None
    time_ms: int | None
    flag: Flag
    reason: str
    band: Band
    side: Side
    care: CareRange | None
    quiet: bool
    derived: bool
    trend_per_hour: float | None


@dataclass(frozen=True, slots=True)
class StripCell:
    """Five minutes of one tank's night strip: the worst band of its quantities."""

    start_ms: int
    band: Band


@dataclass(frozen=True, slots=True)
class AlertStep:
    """A step in an alert's life."""

    event: str
    time_ms: int
    person: str
    text: str


@dataclass(frozen=True, slots=True)
class AlertNow:
    """An alert as it stands. ``ended_ms`` None: it stands or waits to be acknowledged.

    ``stale_ms``: it is stale when it still stands then. ``came``: how often its like came, from half an hour before it
    was raised; an alert that stands has at least come once. ``foreseen``: ``outlook``'s time
    and value. [ms, the quantity's unit]
    """

    id: int
    tank: str | None
    tank_name: str
    kind: AlertKind
    probe: str | None
    quantity: Quantity | None
    priority: Priority
    state: AlertState
    since_ms: int
    raised_ms: int
    ended_ms: int | None
    found_late: bool
    value: float | None
    worst: float | None
    limit: float | None
    text: str
    first_check: str
    acknowledged_by: str | None
    acknowledged_ms: int | None
    note: str | None
    steps: tuple[AlertStep, ...] = ()
    causes: tuple[Cause, ...] = ()
    outlook: Outlook | None = None
    to_do: ToDo | None = None
    stale_ms: int | None = None
    came: int = 1
    foreseen: tuple[int, float] | None = None

    @property
    def cut_off(self) -> bool:
        """Whether it was found in late readings that end while it stood."""
        over = self.found_late and self.state is AlertState.NORMAL and self.value is None
        return over and self.kind is not AlertKind.NOT_KNOWN


@dataclass(frozen=True, slots=True)
class SoftNow:
    """An animal that molted a short while ago. ``animal`` None: an exuvia was found, and nobody knows whose it is."""

    animal: int | None
    name: str
    stage: Stage
    molted_ms: int
    soft_until_ms: int
    hard_from_ms: int


@dataclass(frozen=True, slots=True)
class BroodNow:
    """A mother with eggs, or with young once ``hatched_ms`` is set."""

    animal: int
    name: str
    eggs_ms: int | None
    hatched_ms: int | None


@dataclass(frozen=True, slots=True)
class TankNow:
    """One tank: its latest readings, its night strip, its alerts, and one line of words.

    ``urgency`` sorts the room page: smaller is more urgent. ``words`` such as "oxygen falling, 3 h 20 min left".
    ``most_oxygen_mg_l`` is full saturation at the tank's temperature and the room's pressure, None if not known.
    """

    tank: Tank
    latest: tuple[Latest, ...]
    strip: tuple[StripCell, ...]
    alerts: tuple[AlertNow, ...]
    words: str
    band: Band
    urgency: tuple[int, float, int]
    time_left_s: float | None
    most_oxygen_mg_l: float | None
    soft: tuple[SoftNow, ...] = ()
    broods: tuple[BroodNow, ...] = ()


@dataclass(frozen=True, slots=True)
class PortNow:
    """How the collector fares with one probe's port."""

    probe: str
    state: str
    last_reading_ms: int | None
    unreadable: int
    last_unreadable: str
    error: str


@dataclass(frozen=True, slots=True)
class CollectorNow:
    """A collector's own word of itself; ``silent`` when it has not spoken for a minute."""

    name: str
    seen_ms: int
    silent: bool
    waiting: int
    dropped: int
    refused: int
    trouble: str
    ports: tuple[PortNow, ...]


@dataclass(frozen=True, slots=True)
class RoomNow:
    """The whole room at one moment, tanks most urgent first. ``unclaimed`` probes belong to no tank.

    ``resting``: how many tanks, probes and alerts rest. ``pressure_source`` says where the station pressure comes from;
    ``warnings`` are faults in the room's description.
    """

    time_ms: int
    room: Room
    simulated: bool
    pressure_kpa: float
    tanks: tuple[TankNow, ...]
    room_alerts: tuple[AlertNow, ...]
    unclaimed: tuple[Latest, ...]
    undelivered: tuple[OutboxRow, ...]
    no_notify: bool
    collectors: tuple[CollectorNow, ...]
    refused_here: int
    resting: int = 0
    pressure_source: str = ""
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SeriesPoint:
    """One point of a line: a reading (low = mean = high) or a span; None values mark a gap."""

    time_ms: int
    mean: float | None
    low: float | None
    high: float | None
    flagged: int


@dataclass(frozen=True, slots=True)
class SeriesLine:
    """One probe's line. ``span_s`` 0: single readings; else each point stands for a span of that length."""

    probe: str
    quantity: Quantity
    derived: bool
    span_s: int
    points: tuple[SeriesPoint, ...]


@dataclass(frozen=True, slots=True)
class Series:
    """A tank's quantity over time, in ``unit`` (canonical unless another was asked for)."""

    tank: str
    quantity: Quantity
    unit: str
    start_ms: int
    end_ms: int
    care: CareRange | None
    lines: tuple[SeriesLine, ...]
