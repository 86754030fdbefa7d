"""Times as the room's own clock shows them, 24 hours, with the date when it is not today.

Must not do: read a clock; the present moment comes in as ``now_ms``.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from api.domain.errors import InputError
from api.domain.words import duration

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
QUARTER_MS = 900_000


@dataclass(frozen=True, slots=True)
class Moment:
    """A time to show (``text``), to be read by machines (``iso``), and how long ago it was (``ago``)."""

    iso: str
    text: str
    ago: str


@lru_cache(maxsize=8)
def zone_of(name: str) -> ZoneInfo:
    """The zone of a name; zones are read from disk once."""
    return ZoneInfo(name)


class Clock:
    """The room's clock at one moment."""

    def __init__(self, zone: str, now_ms: int, dated: bool = False) -> None:
        self.zone = zone
        self.now_ms = now_ms
        self._zone = zone_of(zone)
        self._dated = dated

    def on_paper(self) -> Clock:
        """The same clock for what is printed and read in another year: every time with its date and year."""
        return Clock(self.zone, self.now_ms, dated=True)

    def local(self, time_ms: int) -> datetime:
        """A time in the room's zone."""
        return (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=time_ms)).astimezone(self._zone)

    def moment(self, time_ms: int) -> Moment:
        """A time with the date where it is not today's."""
        local, today = self.local(time_ms), self.local(self.now_ms)
        text = f"{local:%H:%M}"
        if self._dated or local.date() != today.date():
            year = "" if local.year == today.year and not self._dated else f" {local.year}"
            text = f"{local.day} {MONTHS[local.month - 1]}{year} {text}"
        return Moment(self.iso(time_ms), text, duration((self.now_ms - time_ms) / 1000))

    def maybe(self, time_ms: int | None) -> Moment | None:
        """A time, or nothing when there is none."""
        return None if time_ms is None else self.moment(time_ms)

    def iso(self, time_ms: int) -> str:
        """RFC 3339 with the room's offset."""
        return self.local(time_ms).isoformat(timespec="seconds")

    def today(self) -> str:
        """The day in words."""
        local = self.local(self.now_ms)
        return f"{WEEKDAYS[local.weekday()]} {local.day} {MONTHS[local.month - 1]} {local.year}"

    def field(self, time_ms: int) -> str:
        """A time as a form's date-and-time field holds it."""
        return f"{self.local(time_ms):%Y-%m-%dT%H:%M}"

    def parse(self, text: str) -> int:
        """The time a form's date-and-time field holds, in the room's zone.

        Raises InputError.
        """
        try:
            given = datetime.fromisoformat(text)
        except ValueError as error:
            raise InputError(f"{text[:40]!r} is not a date and time such as 2025-03-09T22:00") from error
        if not 1971 <= given.year <= 2200:
            raise InputError(f"the year {given.year} is not one of ours; use a date such as 2025-03-09T22:00")
        aware = given.replace(tzinfo=self._zone) if given.tzinfo is None else given
        return round(aware.timestamp() * 1000)

    def full_hours(self, start_ms: int, end_ms: int, every_h: int) -> list[int]:
        """Times in the window at which the room's clock shows a full hour divisible by ``every_h``."""
        first = -(-start_ms // QUARTER_MS) * QUARTER_MS
        found = []
        for time_ms in range(first, end_ms, QUARTER_MS):
            local = self.local(time_ms)
            if local.minute == 0 and local.hour % every_h == 0:
                found.append(time_ms)
        return found
