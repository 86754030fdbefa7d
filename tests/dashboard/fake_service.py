"""A made-up service for page tests: one room with every kind of state in it. All of it is invented."""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import Future
from dataclasses import replace

from api.domain.alert import AlertKind, AlertState, Priority
from api.domain.band import Band, Side
from api.domain.care import WARM_WATER, CareRange
from api.domain.errors import InputError, NotFound
from api.domain.quantity import MEANING, Quantity
from api.domain.reading import Flag
from api.domain.tank import Room, Tank
from api.services.answers import (
    AlertNow,
    AlertStep,
    CollectorNow,
    Latest,
    PortNow,
    RoomNow,
    Series,
    SeriesLine,
    SeriesPoint,
    StripCell,
    TankNow,
)
from api.storage.base import OutboxRow

NOW_MS = 1_741_399_800_000
"""2025-03-08 03:10 in Europe/Vienna (02:10 UTC)."""
MINUTE_MS, HOUR_MS = 60_000, 3_600_000
WARMTH = WARM_WATER.range_of(Quantity.TEMPERATURE)
OXYGEN = WARM_WATER.range_of(Quantity.OXYGEN)
Q = Quantity


def latest(
    probe: str, quantity: Quantity, value: float | None, band: Band, side: Side = Side.WITHIN, *,
    care: CareRange | None = None, flag: Flag = Flag.GOOD, reason: str = "", quiet: bool = False,
    trend: float | None = 0.0, age_min: float | None = 1, derived: bool = False,
) -> Latest:  # fmt: skip
    """One newest reading."""
    time_ms = None if age_min is None else NOW_MS - int(age_min * MINUTE_MS)
    return Latest(probe, quantity, value, time_ms, flag, reason, band, side, care, quiet, derived, trend)


def strip(*runs: tuple[Band, int]) -> tuple[StripCell, ...]:
    """Cells of the last 24 hours: (band, number of cells), oldest first; the last run fills up to now."""
    bands = [band for band, cells in runs for _ in range(cells)]
    end = (NOW_MS // 300_000 + 1) * 300_000
    return tuple(StripCell(end - (len(bands) - index) * 300_000, band) for index, band in enumerate(bands))


def alert(
    number: int, tank: Tank | None, kind: AlertKind, priority: Priority, state: AlertState, *, text: str,
    first_check: str, since_min: int, quantity: Quantity | None = None, probe: str | None = None,
    value: float | None = None, limit: float | None = None, worst: float | None = None,
    ended_min: int | None = None, person: str | None = None, note: str | None = None,
) -> AlertNow:  # fmt: skip
    """One alert."""
    since = NOW_MS - since_min * MINUTE_MS
    ended = None if ended_min is None else NOW_MS - ended_min * MINUTE_MS
    taken = None if person is None else since + 6 * MINUTE_MS
    return AlertNow(
        number, tank.id if tank else None, tank.name if tank else "", kind, probe, quantity, priority, state, since,
        since + 2 * MINUTE_MS, ended, False, value, worst, limit, text, first_check, person, taken, note,
    )  # fmt: skip


def pair(probe: str, mg_l: float, percent: float, band: Band, side: Side, trend: float) -> tuple[Latest, Latest]:
    """Both amounts of oxygen of one probe."""
    return (
        latest(probe, Q.OXYGEN, mg_l, band, side, care=OXYGEN, trend=trend),
        latest(probe, Q.OXYGEN_SATURATION, percent, Band.UNKNOWN, derived=True, trend=trend * 12),
    )


A1 = Tank("a1", "Rack A, 1", 46.0, "Procambarus virginalis")
A2 = Tank("a2", "Rack A, 2", 46.0, "Procambarus virginalis", note="berried female, do not disturb")
A3 = Tank("a3", "Rack A, 3", 17.0, "Cherax destructor")
B1 = Tank("b1", "Rack B, 1", 138.0, "Cherax destructor")
B2 = Tank("b2", "Rack B, 2", 138.0)
C1 = Tank("c1", "Rack C, 1")
AIR = "Is the airstone bubbling? Check the airline and the air pump; dry hands at the plug."
LOW = alert(
    41, A2, AlertKind.LOW_OXYGEN, Priority.URGENT, AlertState.UNACKNOWLEDGED, quantity=Q.OXYGEN, probe="a2-oxy",
    value=4.1, limit=5.0, worst=4.1, since_min=42, first_check=AIR,
    text="Rack A, 2: oxygen 4.1 mg/L, below 5.0 mg/L. Falling 0.3 mg/L per hour, 3 h 20 min to 3.0 mg/L at this rate. "
    + AIR,
)  # fmt: skip
QUIET = alert(
    40, A3, AlertKind.QUIET_PROBE, Priority.TODAY, AlertState.UNACKNOWLEDGED, probe="a3-warm", since_min=14,
    text="Rack A, 3: probe quiet for 14 min.", first_check="Look at the animal first, then at the probe's plug.",
)  # fmt: skip
HEAT = alert(
    38, B1, AlertKind.HEAT, Priority.TODAY, AlertState.ACKNOWLEDGED, quantity=Q.TEMPERATURE, probe="b1-warm",
    value=31.6, limit=31.0, worst=31.9, since_min=190, person="Noor", note="heater unplugged, lid off",
    text="Rack B, 1: temperature 31.6 °C, above 31.0 °C. Falling 0.4 °C per hour.",
    first_check="Is the heater still on? Unplug it at the wall, dry hands.",
)  # fmt: skip
PAST = alert(
    30, A1, AlertKind.COLD, Priority.NOTE, AlertState.NORMAL, quantity=Q.TEMPERATURE, probe="a1-warm", value=19.6,
    limit=20.0, worst=19.1, since_min=2900, ended_min=2700, person="Ilse", note="",
    text="Rack A, 1: cold is over. It stood for 3 h 20 min.", first_check="Is the heater plugged in and warm?",
)  # fmt: skip


def tanks() -> tuple[TankNow, ...]:
    """Six tanks, most urgent first."""
    T = Band.TARGET
    return (
        TankNow(
            A2,
            (
                latest("a2-warm", Q.TEMPERATURE, 26.2, T, care=WARMTH),
                *pair("a2-oxy", 4.1, 51, Band.OUTSIDE, Side.LOW, -0.33),
            ),
            strip((T, 200), (Band.TOLERABLE, 40), (T, 12), (Band.TOLERABLE, 25), (Band.OUTSIDE, 11)),
            (LOW,), "oxygen falling, 3 h 20 min left", Band.OUTSIDE, (0, 12000.0, 0), 12000.0, 8.06,
        ),
        TankNow(
            A3,
            (
                latest("a3-warm", Q.TEMPERATURE, 25.1, Band.UNKNOWN, care=WARMTH, quiet=True, age_min=14, trend=None),
                latest("a3-oxy", Q.OXYGEN, None, Band.UNKNOWN, care=OXYGEN, flag=Flag.FAIL, trend=None,
                       reason="percent needs the tank's temperature"),
            ),
            strip((T, 285), (Band.UNKNOWN, 3)),
            (QUIET,), "probe quiet for 14 min", Band.UNKNOWN, (2, 1e9, 0), None, None,
        ),
        TankNow(
            B1,
            (
                latest("b1-warm", Q.TEMPERATURE, 31.6, Band.OUTSIDE, Side.HIGH, care=WARMTH, trend=-0.4),
                *pair("b1-oxy", 6.6, 90, T, Side.WITHIN, 0.0),
            ),
            strip((T, 170), (Band.TOLERABLE, 60), (Band.OUTSIDE, 8), (Band.DANGER, 20), (Band.OUTSIDE, 30)),
            (HEAT,), "temperature above 31.0 °C, falling", Band.OUTSIDE, (3, 1e9, 0), None, 7.33,
        ),
        TankNow(C1, (), strip((Band.UNKNOWN, 288)), (), "water not known", Band.UNKNOWN, (10, 0.0, 0), None, None),
        TankNow(
            B2,
            (
                latest("b2-warm", Q.TEMPERATURE, 22.9, Band.TOLERABLE, Side.LOW, care=WARMTH),
                *pair("b2-oxy", 7.9, 93, T, Side.WITHIN, 0.0),
                latest("b2-ph", Q.PH, 7.41, Band.UNKNOWN), latest("b2-salt", Q.CONDUCTIVITY, 412.0, Band.UNKNOWN),
            ),
            strip((T, 120), (Band.UNKNOWN, 24), (T, 60), (Band.TOLERABLE, 84)),
            (), "temperature below its target band", Band.TOLERABLE, (11, 0.0, 0), None, 8.53,
        ),
        TankNow(
            A1,
            (
                latest("a1-warm", Q.TEMPERATURE, 26.8, T, care=WARMTH, flag=Flag.SUSPECT, reason="stuck for 40 min"),
                *pair("a1-oxy", 7.4, 93, T, Side.WITHIN, 0.0),
            ),
            strip((T, 288)), (), "in its target band", T, (12, 0.0, 0), None, 7.97,
        ),
    )  # fmt: skip


def room() -> RoomNow:
    """The whole room."""
    message = OutboxRow(7, 41, "phone", "URGENT Rack A, 2: low oxygen", "...", NOW_MS - 40 * MINUTE_MS, 5, NOW_MS, None,
                        "no route to the mail server")  # fmt: skip
    ports = (
        PortNow("a2-oxy", "reading", NOW_MS - 30_000, 0, "", ""),
        PortNow("a3-warm", "failing", NOW_MS - 14 * MINUTE_MS, 2, "25.1C?", "the port ttyUSB3 is gone; plugged in?"),
    )  # fmt: skip
    return RoomNow(
        NOW_MS, Room("Molt room", "Europe/Vienna", 440.0), True, 96.1, tanks(), (),
        (latest("spare-1", Q.TEMPERATURE, 21.0, Band.UNKNOWN),), (message,), False,
        (CollectorNow("molt-room", NOW_MS - 5000, False, 214, 0, 0, "", ports),), 0,
    )  # fmt: skip


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


class FakeService:
    """The fake room's service; ``clock_ms`` is its clock."""

    def __init__(self, hosts: tuple[str, ...] = ()) -> None:
        self.read = FakeRead()
        self.records = FakeRecords(self.read)
        self.hosts = hosts
        self.clock_ms = NOW_MS

    def now_ms(self) -> int:
        """The clock."""
        return self.clock_ms
