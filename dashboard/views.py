"""The room and one tank as pages show them: words, order and formatting, from answers to plain views.

Pure. Must not do: ask the service, or decide anything the judge decides.
"""

from __future__ import annotations

from dataclasses import dataclass

from api.domain.band import Band
from api.domain.quantity import Quantity
from api.services.answers import AlertNow, RoomNow, TankNow
from dashboard.alerts import WAITING, AlertView, alert_view, most_oxygen, standing_first
from dashboard.clock import Clock
from dashboard.notices import Notice, notices_of
from dashboard.readings import ReadingView, reading_views
from dashboard.strip import Strip, strip_of
from dashboard.tank_log import brood_words, soft_words
from dashboard.units import Units, lens
from dashboard.words import count

ATTENTION = (Band.UNKNOWN, Band.OUTSIDE, Band.DANGER)
HEADING_OUT = 6
"""The service's urgency of a tank whose time left is worth saying; alerts come before it."""


@dataclass(frozen=True, slots=True)
class TankView:
    """One tank. ``mark`` is the shape of its state; ``readings`` are placed in care ranges, ``also`` are not."""

    id: str
    name: str
    words: str
    band: Band
    mark: str
    waiting: bool
    heading_out: bool
    strip: Strip
    readings: tuple[ReadingView, ...]
    also: tuple[ReadingView, ...]
    alerts: tuple[AlertView, ...]
    soft: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HeadView:
    """The line at the top of every page."""

    room: str
    time: str
    iso: str
    day: str
    simulated: bool
    attention: str
    waiting: str
    standing: str
    troubled: bool


@dataclass(frozen=True, slots=True)
class RoomView:
    """The room page."""

    head: HeadView
    notices: tuple[Notice, ...]
    waiting: tuple[AlertView, ...]
    tanks: tuple[TankView, ...]
    said: dict[str | None, str]


def all_alerts(room: RoomNow) -> list[AlertNow]:
    """Every standing alert of the room, once each, in the order they should be seen."""
    found = {alert.id: alert for now in room.tanks for alert in now.alerts}
    found |= {alert.id: alert for alert in room.room_alerts}
    return standing_first(list(found.values()), [now.tank.id for now in room.tanks])


def head_view(room: RoomNow, clock: Clock) -> HeadView:
    """The head line."""
    standing = all_alerts(room)
    waiting = [alert for alert in standing if alert.state in WAITING]
    needy = [now for now in room.tanks if needs_attention(now)]
    total = count(len(room.tanks), "tank")
    attention = f"{len(needy)} of {total} {'needs' if len(needy) == 1 else 'need'} attention"
    if not needy:
        attention = f"all {total} in range" if room.tanks else "no tanks yet: add them to room.toml"
    return HeadView(
        room=room.room.name,
        time=clock.moment(room.time_ms).text,
        iso=clock.iso(room.time_ms),
        day=clock.today(),
        simulated=room.simulated,
        attention=attention,
        waiting=f"{count(len(waiting), 'alert')} to acknowledge" if waiting else "",
        standing=count(len(standing), "alert") + " standing" if standing else "no alerts standing",
        troubled=bool(needy or waiting),
    )


def needs_attention(now: TankNow) -> bool:
    """Whether somebody should look at this tank."""
    return now.band in ATTENTION or heading_out(now) or any(alert.state in WAITING for alert in now.alerts)


def heading_out(now: TankNow) -> bool:
    """Whether a tank that has left its target band has, in the service's words, so much time left."""
    return now.band is not Band.TARGET and now.time_left_s is not None and now.urgency[0] <= HEADING_OUT


def tank_view(now: TankNow, units: Units, clock: Clock) -> TankView:
    """One tank."""
    readings = reading_views(now.latest, units, clock, now.most_oxygen_mg_l)
    most = {now.tank.id: now.most_oxygen_mg_l}
    alerts = tuple(alert_view(alert, units, clock, most) for alert in standing_first(now.alerts))
    return TankView(
        id=now.tank.id,
        name=now.tank.name or now.tank.id,
        words=now.words,
        band=now.band,
        mark=now.band,
        waiting=any(alert.waiting for alert in alerts),
        heading_out=heading_out(now),
        strip=strip_of(now.strip, clock, now.band),
        readings=tuple(view for view in readings if view.judged),
        also=tuple(view for view in readings if not view.judged),
        alerts=alerts,
        soft=(*(soft_words(one, clock) for one in now.soft), *(brood_words(one, clock) for one in now.broods)),
    )


def room_view(room: RoomNow, units: Units) -> RoomView:
    """The room page."""
    clock = Clock(room.room.zone, room.time_ms)
    most = most_oxygen(room)
    waiting = [alert_view(a, units, clock, most) for a in all_alerts(room) if a.state in WAITING]
    return RoomView(
        head=head_view(room, clock),
        notices=notices_of(room, clock),
        waiting=tuple(waiting),
        tanks=tuple(tank_view(now, units, clock) for now in room.tanks),
        said={now.tank.id: now.words for now in room.tanks},
    )


def oxygen_sentence(now: TankNow, pressure_kpa: float, units: Units) -> str:
    """How much oxygen this water could hold, and how much of it is there; what cannot be said is said to be so."""
    most = now.most_oxygen_mg_l
    warm = _present(now, Quantity.TEMPERATURE)
    if most is None or warm is None:
        return "Full saturation is not known: it needs the tank's present temperature."
    at = lens(Quantity.TEMPERATURE, units).text(warm)
    words = f"At {at} and {pressure_kpa:.1f} kPa full saturation is {most:.2f} mg/L"
    percent = _present(now, Quantity.OXYGEN_SATURATION)
    oxygen = _present(now, Quantity.OXYGEN)
    if percent is None and oxygen is not None:
        percent = 100.0 * oxygen / most
    return f"{words}; {percent:.0f} % of that is there now." if percent is not None else f"{words}."


def _present(now: TankNow, quantity: Quantity) -> float | None:
    values = (item.value for item in now.latest if item.quantity is quantity and not item.quiet)
    return next((value for value in values if value is not None), None)
