"""Local times to UTC by a zone's rules, whole arrays at once, with the doubled and the missing hour told apart.

Must not do: choose between the two times a doubled one can mean.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import NamedTuple
from zoneinfo import ZoneInfo, available_timezones

import numpy as np
from numpy.typing import NDArray

from api.domain.errors import InputError

DAY_MS, HOUR_MS = 86_400_000, 3_600_000
YEARS = (1900, 2200)
_FIXED = re.compile(r"(?:UTC|GMT)?([-+−])(\d{1,2})(?::?(\d{2}))?\Z", re.IGNORECASE)


class Meant(NamedTuple):
    """UTC times a local time can mean; they differ where ``doubled``; ``missing`` times were never on the clock."""

    earlier_ms: NDArray[np.int64]
    later_ms: NDArray[np.int64]
    doubled: NDArray[np.bool_]
    missing: NDArray[np.bool_]


def fixed_offset_ms(zone: str) -> int | None:
    """The offset of ``UTC``, ``Z`` or ``+02:00``; None for a named zone."""
    if zone.casefold() in ("utc", "z", "gmt"):
        return 0
    found = _FIXED.match(zone.strip())
    if found is None or int(found[2]) > 18:
        return None
    minutes = int(found[2]) * 60 + int(found[3] or 0)
    return (minutes if found[1] == "+" else -minutes) * 60_000


def check_zone(zone: str) -> None:
    """Raises InputError for a zone nobody knows."""
    if fixed_offset_ms(zone) is None and zone not in available_timezones():
        raise InputError(
            f"there is no zone {zone[:60]!r}; write a name such as Europe/Berlin or America/Denver, UTC, or an offset"
            " such as +02:00"
        )


def meant(local_ms: NDArray[np.int64], zone: str) -> Meant:
    """What local times mean in a zone (a name, ``UTC``, or ``+02:00``)."""
    none = np.zeros(len(local_ms), np.bool_)
    offset = fixed_offset_ms(zone)
    if offset is not None or not len(local_ms):
        utc = local_ms - (offset or 0)
        return Meant(utc, utc, none, none)
    turns, offsets = _turns(zone, int(local_ms.min()), int(local_ms.max()))
    if not len(turns):
        utc = local_ms - offsets[0]
        return Meant(utc, utc, none, none)
    begins, ends = turns + offsets[1:], turns + offsets[:-1]
    later = np.searchsorted(begins, local_ms, side="right")
    at = np.maximum(later - 1, 0)
    doubled = (later > 0) & (local_ms < ends[at])
    upto = np.minimum(later, len(ends) - 1)
    missing = (later < len(ends)) & (local_ms >= ends[upto])
    later_ms = local_ms - offsets[later]
    earlier_ms = np.where(doubled, local_ms - offsets[at], later_ms)
    return Meant(earlier_ms, later_ms, doubled, missing)


def _turns(zone: str, low_ms: int, high_ms: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """When the zone's offset changes between two local times, and the offsets before, between and after."""
    first, last = (_year(one) for one in (low_ms - 2 * DAY_MS, high_ms + 2 * DAY_MS))
    found = [one for year in range(max(first, YEARS[0]), min(last, YEARS[1]) + 1) for one in _year_turns(zone, year)]
    start = datetime(max(min(first, YEARS[1]), YEARS[0]), 1, 1, tzinfo=UTC)
    offsets = [_offset_ms(ZoneInfo(zone), start), *(after for _, after in found)]
    return np.array([turn for turn, _ in found], np.int64), np.array(offsets, np.int64)


def _year(time_ms: int) -> int:
    return 1970 + time_ms // (365_2425 * DAY_MS // 10_000)


@lru_cache(maxsize=512)
def _year_turns(zone: str, year: int) -> tuple[tuple[int, int], ...]:
    """Each change of offset in a UTC year: when, and the offset after it."""
    rules, found = ZoneInfo(zone), []
    here, end = datetime(year, 1, 1, tzinfo=UTC), datetime(year + 1, 1, 1, tzinfo=UTC)
    while here < end:
        after = here + timedelta(hours=12)
        if _offset_ms(rules, here) != _offset_ms(rules, after):
            low, high = int(here.timestamp()), int(after.timestamp())
            while high - low > 1:
                middle = (low + high) // 2
                same = _offset_ms(rules, datetime.fromtimestamp(middle, UTC)) == _offset_ms(rules, here)
                low, high = (middle, high) if same else (low, middle)
            found.append((high * 1000, _offset_ms(rules, after)))
        here = after
    return tuple(found)


def _offset_ms(rules: ZoneInfo, when: datetime) -> int:
    offset = when.astimezone(rules).utcoffset() or timedelta()
    return offset // timedelta(milliseconds=1)
