"""The room, its tanks and its probes, as ``room.toml`` describes them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from dataclasses import field as made
from typing import Any

from api.domain.care import CareProfile
from api.domain.morning import USUAL_MORNING, MorningSettings
from api.domain.people import USUAL_LADDER, LadderSettings, Person
from api.domain.quantity import Quantity


@dataclass(frozen=True, slots=True)
class Room:
    """The room as a whole. ``pressure_kpa`` is station pressure; None means: from the altitude."""

    name: str
    zone: str
    altitude_m: float = 0.0
    pressure_kpa: float | None = None
    salinity_psu: float = 0.0


@dataclass(frozen=True, slots=True)
class Tank:
    """One tank and the name of its care profile."""

    id: str
    name: str
    volume_l: float | None = None
    species: str = ""
    care: str = "warm-water"
    note: str = ""
    salinity_psu: float | None = None


@dataclass(frozen=True, slots=True)
class Value:
    """One value a probe delivers: its quantity, unit, and where in the probe's line it stands.

    ``checks`` are a keeper's own limits of the quality checks, ``options`` the driver's own keys of this value.
    """

    quantity: Quantity
    unit: str
    field: int | None = None
    key: str | None = None
    checks: Mapping[str, float] = made(default_factory=dict)
    calibrate_every_days: float | None = None
    options: Mapping[str, Any] = made(default_factory=dict)


NO_DRIVER = "none"
"""The driver of a probe that sends its readings itself, through the broker or over HTTP: no collector reads it."""
RECORDED = "recorded"
"""The driver of a probe known from files only: its past counts, and nobody waits for its word."""
UNREAD = frozenset({NO_DRIVER, RECORDED})


@dataclass(frozen=True, slots=True)
class Probe:
    """One probe. ``options`` are its driver's own keys, ``line`` where its table begins in the file."""

    id: str
    driver: str
    tank: str | None = None
    every_s: float = 60.0
    values: tuple[Value, ...] = ()
    options: Mapping[str, Any] = made(default_factory=dict)
    line: int | None = None

    @property
    def live(self) -> bool:
        """Whether it should be heard now."""
        return self.driver != RECORDED


@dataclass(frozen=True, slots=True)
class Notify:
    """One address that alerts are sent to, as an Apprise URL."""

    name: str
    url: str
    priority: str = "today"


@dataclass(frozen=True, slots=True)
class ServiceSettings:
    """How the service listens and when it gives up waiting. ``address`` is where phones reach its pages."""

    host: str = "127.0.0.1"
    port: int = 8080
    hosts: tuple[str, ...] = ()
    address: str = ""
    quiet_after_missed: int = 3
    quiet_grace_s: float = 300.0
    late_after_s: float = 900.0


@dataclass(frozen=True, slots=True)
class CollectorSettings:
    """How the collector keeps and sends."""

    service: str = ""
    spool_max_mb: float = 2000.0
    pack_size: int = 200
    uplink: str = "http"
    second_voice_after_s: float = 900.0


@dataclass(frozen=True, slots=True)
class Mqtt:
    """The broker that readings may go through."""

    host: str = "127.0.0.1"
    port: int = 1883
    user: str = ""
    password: str = ""
    password_file: str = ""
    tls: bool = False
    ca_file: str = ""
    version: str = "5"


@dataclass(frozen=True, slots=True)
class Heartbeat:
    """An outside address that is called every few minutes, so that total silence is noticed there."""

    url: str
    every_s: float = 300.0


@dataclass(frozen=True, slots=True)
class SimulatedSettings:
    """The invented room: how its pseudo-random numbers start and how much history it makes on first start."""

    seed: int = 7
    history_days: float = 7.0
    history_every_s: float = 60.0
    speed: float = 1.0


@dataclass(frozen=True, slots=True)
class RoomFile:
    """All of ``room.toml``."""

    room: Room
    tanks: tuple[Tank, ...]
    probes: tuple[Probe, ...]
    care: tuple[CareProfile, ...]
    notify: tuple[Notify, ...]
    service: ServiceSettings
    collector: CollectorSettings
    simulated: SimulatedSettings | None
    mqtt: Mqtt | None = None
    heartbeat: Heartbeat | None = None
    people: tuple[Person, ...] = ()
    ladder: LadderSettings = USUAL_LADDER
    morning: MorningSettings = USUAL_MORNING

    @property
    def everyone(self) -> tuple[Notify, ...]:
        """Every address anybody is told by: the room's own, then each channel of each person."""
        return everyone_of(self.notify, self.people)


def everyone_of(notify: Sequence[Notify], people: Sequence[Person]) -> tuple[Notify, ...]:
    """Every address anybody is told by: the room's own, then each channel of each person."""
    channels = ((one.target(n), url) for one in people for n, url in enumerate(one.channels))
    return (*notify, *(Notify(target, url, "urgent") for target, url in channels))
