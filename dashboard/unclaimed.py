"""Probes that no tank claims, ready to show: what each says, and when. Pure.

Must not do: guess the tank.
"""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import quote

from api.domain.quantity import Quantity
from api.services.answers import Latest, RoomNow
from dashboard.clock import Clock, Moment
from dashboard.readings import ReadingView, reading_views
from dashboard.units import Units

MOST_SHOWN = 12


@dataclass(frozen=True, slots=True)
class Unclaimed:
    """One probe; ``address`` is its id as it stands in addresses, ``when`` its newest reading."""

    id: str
    address: str
    readings: tuple[ReadingView, ...]
    when: Moment | None


def unclaimed_of(room: RoomNow, units: Units, clock: Clock) -> tuple[Unclaimed, ...]:
    """The probes heard last come first. The room's barometer belongs to no tank and is none of them."""
    by_probe: dict[str, list[Latest]] = {}
    for one in room.unclaimed:
        if one.quantity is not Quantity.PRESSURE:
            by_probe.setdefault(one.probe, []).append(one)
    newest = {probe: max(one.time_ms or 0 for one in latests) for probe, latests in by_probe.items()}
    order = sorted(by_probe, key=lambda probe: (-newest[probe], probe))
    return tuple(
        Unclaimed(
            probe,
            quote(probe, safe=""),
            reading_views(by_probe[probe], units, clock, None),
            clock.moment(newest[probe]) if newest[probe] else None,
        )
        for probe in order[:MOST_SHOWN]
    )
