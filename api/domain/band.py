"""Where a value stands in its care range, as a word."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Band(StrEnum):
    """The bands of a care range, from best to worst; UNKNOWN is never taken for good."""

    TARGET = "target"
    TOLERABLE = "tolerable"
    OUTSIDE = "outside"
    DANGER = "danger"
    UNKNOWN = "unknown"


class Side(StrEnum):
    """On which side of the target a value lies."""

    LOW = "low"
    HIGH = "high"
    WITHIN = "within"


SEVERITY = {Band.TARGET: 0, Band.TOLERABLE: 1, Band.UNKNOWN: 2, Band.OUTSIDE: 3, Band.DANGER: 4}


@dataclass(frozen=True, slots=True)
class Assessment:
    """A value's band and side, and the limit it is beyond (None inside the tolerable band)."""

    band: Band
    side: Side
    limit: float | None
