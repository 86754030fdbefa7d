"""A made-up room for page tests, with every kind of state in it. All of it is invented."""

from __future__ import annotations

from api.domain.alert import AlertKind, AlertState, Priority
from api.domain.band import Band, Side
from api.domain.care import WARM_WATER, CareRange
from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.domain.tank import Room, Tank
from api.services.answers import (
    AlertNow,
    CollectorNow,
    Latest,
    PortNow,
    RoomNow,
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


def needy_tanks() -> tuple[TankNow, ...]:
    """Three tanks with alerts, most urgent first."""
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
    )  # fmt: skip


def calm_tanks() -> tuple[TankNow, ...]:
    """Three tanks without alerts."""
    T = Band.TARGET
    return (
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
        NOW_MS, Room("Molt room", "Europe/Vienna", 440.0), True, 96.1, (*needy_tanks(), *calm_tanks()), (),
        (latest("spare-1", Q.TEMPERATURE, 21.0, Band.UNKNOWN),), (message,), False,
        (CollectorNow("molt-room", NOW_MS - 5000, False, 214, 0, 0, "", ports),), 0,
    )  # fmt: skip
