"""What a keeper must know about the room besides its water: messages, collectors, probes that lead nowhere.

Must not do: leave out a fault because it is old or small.
"""

from __future__ import annotations

from dataclasses import dataclass

from api.services.answers import CollectorNow, PortNow, RoomNow
from dashboard.clock import Clock
from dashboard.words import count

MOST_LISTED = 12
FINE_PORT = ("reading", "waiting")
ON_THEIR_WAY, ON_THEIR_WAY_PER_PROBE = 20, 5
"""Readings a working collector may have between two sendings: at least so many, or so many a probe."""


@dataclass(frozen=True, slots=True)
class Notice:
    """One notice: ``trouble`` ones say that warnings or readings may be missing."""

    trouble: bool
    title: str
    lines: tuple[str, ...] = ()
    way: tuple[str, str] = ("", "")
    """Where it is mended: an address, and what stands on its link."""


def notices_of(room: RoomNow, clock: Clock) -> tuple[Notice, ...]:
    """All notices, troubles first."""
    found: list[Notice] = []
    found += _messages(room, clock)
    if room.resting:
        line = "Tanks somebody works on, what is shelved or out of service: the Alerts page lists them and ends them."
        found.append(Notice(True, f"{room.resting} at rest: judged, not told", (line,)))
    for collector in room.collectors:
        found += _collector(collector, clock)
    if room.refused_here:
        found.append(
            Notice(
                True,
                f"{count(room.refused_here, 'reading')} refused by the service",
                ("They could not be understood; the collector's log says which and why.",),
            )
        )
    found += [Notice(True, "The room file", (words,)) for words in room.warnings]
    if room.unclaimed:
        names = sorted({latest.probe for latest in room.unclaimed})
        title = f"{count(len(names), 'probe belongs', 'probes belong')} to no tank"
        lines = (
            _listed(names),
            "Their readings are kept but not judged. Claim each for its tank on the room page, or in room.toml.",
        )
        found.append(Notice(False, title, lines))
    return tuple(sorted(found, key=lambda notice: not notice.trouble))


def _messages(room: RoomNow, clock: Clock) -> list[Notice]:
    found = []
    if room.undelivered:
        oldest = min(room.undelivered, key=lambda row: row.created_ms)
        when = clock.moment(oldest.created_ms)
        lines = [f"The oldest has waited {when.ago}, since {when.text}: {oldest.title}"]
        last = max(room.undelivered, key=lambda row: row.attempts)
        if last.last_error:
            lines.append(f"Last try to reach {last.target}: {last.last_error}")
        title = f"{count(len(room.undelivered), 'message')} not delivered"
        found.append(Notice(True, title, tuple(lines)))
    if room.no_notify:
        line = "Alerts show on these pages only. Add a person here, or a [[person]] or [[notify]] to room.toml."
        way = ("/people/person", "Add a person")
        found.append(Notice(True, "Nobody will be told: no address for alerts is set", (line,), way))
    return found


def _collector(collector: CollectorNow, clock: Clock) -> list[Notice]:
    found = []
    name = f"Collector {collector.name}"
    if collector.silent:
        seen = clock.moment(collector.seen_ms)
        line = "Readings may be missing until it speaks again. Is its computer on, and is it started?"
        found.append(Notice(True, f"{name} has been silent for {seen.ago}, since {seen.text}", (line,)))
    if collector.trouble:
        found.append(Notice(True, f"{name}: {collector.trouble}"))
    if collector.dropped:
        line = "They are lost: its spool was full."
        found.append(Notice(True, f"{name} dropped {count(collector.dropped, 'reading')}", (line,)))
    if collector.refused:
        line = "The service could not use them; the collector's log says which and why."
        found.append(Notice(True, f"{count(collector.refused, 'reading')} of {collector.name} refused", (line,)))
    if collector.waiting > max(ON_THEIR_WAY, ON_THEIR_WAY_PER_PROBE * len(collector.ports)):
        line = "They are safe on its disk and will be sent; until then the pages lag behind."
        found.append(Notice(False, f"{count(collector.waiting, 'reading')} wait at {collector.name}", (line,)))
    failing = [port for port in collector.ports if port.error or port.state not in FINE_PORT]
    if failing:
        lines = [_port(port, clock) for port in failing[:MOST_LISTED]]
        if len(failing) > MOST_LISTED:
            lines.append(f"and {len(failing) - MOST_LISTED} more")
        title = f"{count(len(failing), 'probe')} of {collector.name} cannot be read"
        found.append(Notice(True, title, tuple(lines)))
    garbled = [port for port in collector.ports if port.unreadable and port not in failing]
    if garbled:
        garbles = [f"{port.probe}: {count(port.unreadable, 'line')}, last {port.last_unreadable!r}" for port in garbled]
        found.append(Notice(False, f"Unreadable lines from {count(len(garbled), 'probe')}", tuple(garbles)))
    return found


def _port(port: PortNow, clock: Clock) -> str:
    words = f"{port.probe}: {port.error or port.state}"
    if port.last_reading_ms is None:
        return f"{words}; never a reading"
    last = clock.moment(port.last_reading_ms)
    return f"{words}; last reading {last.ago} ago, at {last.text}"


def _listed(names: list[str]) -> str:
    more = len(names) - MOST_LISTED
    return ", ".join(names[:MOST_LISTED]) + (f" and {more} more" if more > 0 else "")
