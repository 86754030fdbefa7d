"""What a pack became at the checking half of the line, and what it makes necessary elsewhere. Must not do: keep."""

from __future__ import annotations

from dataclasses import dataclass, field

from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag
from api.storage.base import Revision

Key = tuple[str, Quantity]


@dataclass(slots=True)
class Checked:
    """What a pack became. ``behind`` are readings older than the newest of their channel.

    ``heard`` holds each reading with the flag it had when it was the newest one, as it is judged; a later reading of
    the same pack may already have decided more, and that is how ``readings`` are kept. ``waits`` are spans, with the
    reason, that have to be gone over again.
    """

    heard: list[CheckedReading] = field(default_factory=list)
    readings: list[CheckedReading] = field(default_factory=list)
    places: dict[tuple[str, Quantity, int], int] = field(default_factory=dict)
    revisions: dict[tuple[str, Quantity, int], Revision] = field(default_factory=dict)
    behind: list[CheckedReading] = field(default_factory=list)
    waits: dict[tuple[Key, str], tuple[int, int]] = field(default_factory=dict)

    def take(self, reading: CheckedReading) -> None:
        """A reading newer than all of its channel."""
        self.places[reading.probe, reading.quantity, reading.time_ms] = len(self.readings)
        self.heard.append(reading)
        self.readings.append(reading)

    def revise(self, change: Revision) -> None:
        """A second thought about a reading of this pack or of an earlier one."""
        key = (change.probe, change.quantity, change.time_ms)
        place = self.places.get(key)
        if place is None:
            self.revisions[key] = change
        else:
            self.readings[place] = with_flag(self.readings[place], change.flag, change.reason)

    def wait(self, key: Key, why: str, start_ms: int, end_ms: int) -> None:
        """A span has to be gone over again."""
        known = self.waits.get((key, why), (start_ms, end_ms))
        self.waits[key, why] = min(known[0], start_ms), max(known[1], end_ms)


def with_flag(r: CheckedReading, flag: Flag, reason: str) -> CheckedReading:
    """A reading with another flag; written out, as it is done twice a reading."""
    return CheckedReading(
        r.probe, r.quantity, r.time_ms, r.raw_value, r.raw_unit, r.value, flag, reason, r.derived, r.arrival
    )
