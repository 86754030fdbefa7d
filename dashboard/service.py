"""What the pages ask of the service, as protocols, so that pages can be shown against any room.

Must not do: hold any logic.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Future
from typing import Protocol

from api.domain.alert import AlertState
from api.domain.calibration import Calibration
from api.domain.quantity import Quantity
from api.services.answers import AlertNow, RoomNow, Series, TankNow
from api.services.probes import ProbeNow


class Read(Protocol):
    """The questions pages ask."""

    def room(self, now_ms: int) -> RoomNow:
        """The whole room."""

    def tank(self, tank_id: str, now_ms: int) -> TankNow:
        """One tank. Raises NotFound."""

    def alerts(self, states: Sequence[AlertState] | None, most: int = 200) -> tuple[AlertNow, ...]:
        """Alerts, newest first."""

    def alert(self, alert_id: int) -> AlertNow:
        """One alert with its steps. Raises NotFound."""

    def series(
        self,
        tank_id: str,
        quantity: Quantity,
        start_ms: int,
        end_ms: int,
        points: int = 1500,
        unit: str | None = None,
    ) -> Series:
        """A quantity over time. Raises NotFound."""

    def quantities(self, tank_id: str) -> tuple[Quantity, ...]:
        """Quantities ever seen in a tank."""


class Records(Protocol):
    """The records pages may change, and the password."""

    def acknowledge(self, alert_id: int, person: str, note: str, now_ms: int) -> Future[None]:
        """Acknowledge an alert; the future ends when it is kept."""

    def claim(self, probe_id: str, tank_id: str, now_ms: int) -> None:
        """Give a probe to a tank. Raises NotFound, InputError."""

    def password_set(self) -> bool:
        """Whether a keeper's password is set."""

    def keepers(self) -> list[str]:
        """Names of those who may sign in."""


class Probes(Protocol):
    """Questions about probes."""

    def all(self) -> tuple[ProbeNow, ...]:
        """Every probe."""

    def probe(self, probe_id: str) -> ProbeNow:
        """One probe. Raises NotFound."""


class Calibrations(Protocol):
    """The calibration log."""

    def expected(
        self, quantity: Quantity, probe: str, temperature_c: float | None, pressure_kpa: float | None
    ) -> tuple[float, float]:
        """What an oxygen probe should say at air saturation, and the pressure that was used. Raises InputError."""

    def enter(self, given: Calibration, now_ms: int) -> Future[int]:
        """Put one on record. Raises InputError."""

    def withdraw(self, calibration_id: int, person: str, now_ms: int) -> Future[None]:
        """Take one out of force. Raises NotFound, InputError."""


class Service(Protocol):
    """The running service."""

    @property
    def probes(self) -> Probes:
        """Questions about probes."""

    @property
    def calibrations(self) -> Calibrations:
        """The calibration log."""

    @property
    def read(self) -> Read:
        """Questions."""

    @property
    def records(self) -> Records:
        """Records."""

    def now_ms(self) -> int:
        """The clock."""


class BrowserSession(Protocol):
    """A browser's session as web safety hands it over in ``request.state.session``."""

    name: str
    csrf: str


class Entry(Protocol):
    """What came of a try to sign in."""

    @property
    def ok(self) -> bool:
        """Let in."""

    @property
    def wait_s(self) -> int:
        """Seconds until the next try is looked at."""


class Door(Protocol):
    """Signs keepers in and out; kept in ``app.state.door``."""

    def enter(self, session: BrowserSession, address: str, name: str, password: str) -> Entry:
        """Try a name and a password."""

    def leave(self, session: BrowserSession) -> None:
        """Sign out."""
