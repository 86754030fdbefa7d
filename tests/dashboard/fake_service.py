"""A made-up service for page tests, answering from the made-up room."""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import Future
from dataclasses import replace

from api.domain.alert import AlertState
from api.domain.calibration import Calibration
from api.domain.errors import InputError, NotFound
from api.domain.quantity import MEANING, Quantity
from api.domain.rest import Rest
from api.services.animals import AnimalNow
from api.services.answers import AlertNow, AlertStep, RoomNow, Series, SeriesLine, SeriesPoint, TankNow
from api.services.entries import Entry
from api.services.probes import ProbeNow
from tests.dashboard.made_up_room import HOUR_MS, NOW_MS, PAST, room


class FakeRead:
    """Answers made by hand; ``now`` may be replaced by a test."""

    def __init__(self) -> None:
        self.now = room()
        self.past: tuple[AlertNow, ...] = (PAST,)

    def room(self, now_ms: int) -> RoomNow:
        """The room."""
        return self.now

    def tank(self, tank_id: str, now_ms: int) -> TankNow:
        """One tank."""
        for now in self.now.tanks:
            if now.tank.id == tank_id:
                return now
        raise NotFound(f"there is no tank {tank_id!r}")

    def _all(self) -> list[AlertNow]:
        standing = [one for now in self.now.tanks for one in now.alerts]
        return [*standing, *self.now.room_alerts, *self.past]

    def alerts(self, states: Sequence[AlertState] | None, most: int = 200) -> tuple[AlertNow, ...]:
        """Alerts."""
        return tuple(one for one in self._all() if states is None or one.state in states)[:most]

    def alert(self, alert_id: int) -> AlertNow:
        """One alert with a step."""
        for one in self._all():
            if one.id == alert_id:
                return replace(one, steps=(AlertStep("raised", one.raised_ms, "", one.text),))
        raise NotFound(f"there is no alert {alert_id}")

    def quantities(self, tank_id: str) -> tuple[Quantity, ...]:
        """What the tank's newest readings hold."""
        seen = {item.quantity for item in self.tank(tank_id, NOW_MS).latest}
        return tuple(quantity for quantity in Quantity if quantity in seen)

    def series(
        self, tank_id: str, quantity: Quantity, start_ms: int, end_ms: int, points: int = 1500, unit: str | None = None
    ) -> Series:
        """A wave with a gap, ending at the newest value; spans when the window is long."""
        now = self.tank(tank_id, NOW_MS)
        item = next(one for one in now.latest if one.quantity is quantity)
        end_value = item.value if item.value is not None else 5.0
        span_s = 0 if end_ms - start_ms <= 86_400_000 else 3600
        step = span_s * 1000 or 300_000
        made = []
        for index, time_ms in enumerate(range(start_ms, end_ms, step)):
            hours_left = (end_ms - time_ms) / HOUR_MS
            value = end_value + 0.03 * end_value * math.sin(hours_left / 24 * 6.283) + 0.01 * math.sin(index)
            gap = 10.0 < hours_left < 12.5
            spread = 0.02 * end_value if span_s else 0.0
            mean = None if gap else value
            made.append(
                SeriesPoint(time_ms, mean, mean and mean - spread, mean and mean + spread, int(index % 97 == 50))
            )
        line = SeriesLine(item.probe, quantity, item.derived, span_s, tuple(made))
        return Series(tank_id, quantity, MEANING[quantity].unit, start_ms, end_ms, item.care, (line,))


class FakeRecords:
    """Records in memory."""

    def __init__(self, read: FakeRead) -> None:
        self._read = read
        self.passwords: dict[str, str] = {}
        self.acknowledged: list[tuple[int, str, str]] = []
        self.claimed: list[tuple[str, str]] = []

    def acknowledge(self, alert_id: int, person: str, note: str, now_ms: int) -> Future[None]:
        """Mark the alert acknowledged."""
        if not person:
            raise InputError("an alert is acknowledged by a person: give a name")
        self._read.alert(alert_id)
        self.acknowledged.append((alert_id, person, note))

        def taken(one: AlertNow) -> AlertNow:
            if one.id != alert_id:
                return one
            return replace(
                one, state=AlertState.ACKNOWLEDGED, acknowledged_by=person, note=note, acknowledged_ms=now_ms
            )

        now = self._read.now
        changed = tuple(replace(tank, alerts=tuple(taken(one) for one in tank.alerts)) for tank in now.tanks)
        self._read.now = replace(now, tanks=changed)
        done: Future[None] = Future()
        done.set_result(None)
        return done

    def claim(self, probe_id: str, tank_id: str, now_ms: int) -> None:
        """Remember."""
        self._read.tank(tank_id, now_ms)
        self.claimed.append((probe_id, tank_id))

    def password_set(self) -> bool:
        """Whether any password is set."""
        return bool(self.passwords)

    def password_mark(self) -> str:
        """Changes with the passwords."""
        return str(hash(tuple(sorted(self.passwords.items()))))

    def check_password(self, name: str, password: str) -> bool:
        """Plain comparison."""
        return self.passwords.get(name) == password

    def keepers(self) -> list[str]:
        """Names."""
        return list(self.passwords)

    def secret(self, name: str) -> bytes:
        """A fixed key."""
        return f"a key for tests: {name}".encode()

    def token_ok(self, bearer: str) -> bool:
        """One fixed token."""
        return bearer == "collector-token"


class NoProbes:
    """A room whose probes have no pages; nothing can be calibrated."""

    def all(self) -> tuple[ProbeNow, ...]:
        """None."""
        return ()

    def probe(self, probe_id: str) -> ProbeNow:
        """Never there."""
        raise NotFound(f"there is no probe {probe_id!r}")

    def expected(
        self, quantity: Quantity, probe: str, temperature_c: float | None, pressure_kpa: float | None
    ) -> tuple[float, float]:
        """Never known."""
        raise NotFound(f"there is no probe {probe!r}")

    def enter(self, given: Calibration, now_ms: int) -> Future[int]:
        """Never taken."""
        raise NotFound(f"there is no probe {given.probe!r}")

    def withdraw(self, calibration_id: int, person: str, now_ms: int) -> Future[None]:
        """Never there."""
        raise NotFound(f"there is no calibration {calibration_id}")


class NoAnimals:
    """A room without animals, and nothing in its log."""

    def all(self, now_ms: int) -> list[AnimalNow]:
        """None."""
        return []

    def between(self, tank: str, start_ms: int, end_ms: int, most: int) -> list[Entry]:
        """None."""
        return []


class NoRests:
    """No alert rests."""

    rules = ("A shelf ends by itself.",)

    def rests(self, *, running: bool = True) -> list[Rest]:
        """None."""
        return []


class NoCharts:
    """No alert has a chart."""

    def quantities(self, alert: AlertNow) -> tuple[Quantity, ...]:
        """None."""
        return ()


class FakeService:
    """The fake room's service; ``clock_ms`` is its clock."""

    def __init__(self, hosts: tuple[str, ...] = ()) -> None:
        self.read = FakeRead()
        self.records = FakeRecords(self.read)
        self.hosts = hosts
        self.probes = self.calibrations = NoProbes()
        self.animals = self.events = NoAnimals()
        self.resting = NoRests()
        self.alert_charts = NoCharts()
        self.clock_ms = NOW_MS

    def now_ms(self) -> int:
        """The clock."""
        return self.clock_ms
