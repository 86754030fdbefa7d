"""Days and times as people give them to a command, in the room's zone. Must not do: guess a time that came twice."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from api.domain.errors import InputError


def moment_of(text: str, option: str, zone: ZoneInfo, days: int) -> int:
    """A time in the room's zone where it names none; a day alone is taken whole, from its start (+ ``days``)."""
    try:
        moment = datetime.combine(date.fromisoformat(text) + timedelta(days), time(), zone)
    except (ValueError, OverflowError):
        moment = _time_of_day(text, option, zone)
    return round(moment.timestamp() * 1000)


def _time_of_day(text: str, option: str, zone: ZoneInfo) -> datetime:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise InputError(
            f"{option} {text[:60]!r} is neither a day such as 2026-03-01 nor a time such as 2026-03-01T08:00+01:00"
        ) from error
    if moment.tzinfo is not None:
        return moment
    first, second = (moment.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() != second.utcoffset():
        raise InputError(
            f"{option} {text}: the clocks of {zone.key} were changed then, so this time was there twice or not at all;"
            f" write the offset too, such as {first.isoformat()}"
        )
    return first
