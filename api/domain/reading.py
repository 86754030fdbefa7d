"""A reading at each station of the line, as frozen dataclasses.

Times are whole milliseconds UTC since 1970 (``time_ms``). Must not do: convert, judge, or touch a clock.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import IntEnum
from math import isfinite

from api.domain.errors import InputError
from api.domain.quantity import Quantity

PROBE_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.:-]{0,63}\Z")
PROBE_ID_RULE = "1 to 64 letters, digits, '-', '_', '.' or ':', starting with a letter or digit"


class Flag(IntEnum):
    """QARTOD quality flags (IOOS, primary level)."""

    GOOD = 1
    NOT_EVALUATED = 2
    SUSPECT = 3
    FAIL = 4
    MISSING = 9


class Arrival(IntEnum):
    """How a reading came: while it was news, late, or late and older than others so that its checks still wait."""

    IN_TIME = 0
    LATE = 1
    WAITING = 2


@dataclass(frozen=True, slots=True)
class RawReading:
    """What a probe said, before anyone believed it.

    Raises InputError when the value is not a finite number, or when probe or unit cannot be a name.
    """

    probe: str
    quantity: Quantity
    time_ms: int
    value: float
    unit: str

    def __post_init__(self) -> None:
        if not isfinite(self.value):
            raise InputError(f"value of {self.probe}/{self.quantity} is {self.value}, not a finite number")
        if not PROBE_ID.match(self.probe):
            raise InputError(f"probe id {self.probe[:80]!r} is not usable: {PROBE_ID_RULE}")
        if not self.unit or len(self.unit) > 32 or not self.unit.isprintable():
            raise InputError(f"unit {self.unit[:40]!r} of {self.probe}/{self.quantity} is empty, too long or not text")


@dataclass(frozen=True, slots=True)
class CheckedReading:
    """A reading with its quality flag and, in words, why it is not plainly good.

    ``value`` is None when the raw value could not be converted; such a reading always carries FAIL.
    """

    probe: str
    quantity: Quantity
    time_ms: int
    raw_value: float
    raw_unit: str
    value: float | None
    flag: Flag
    reason: str = ""
    derived: bool = False
    arrival: Arrival = Arrival.IN_TIME


@dataclass(frozen=True, slots=True)
class KeptReading:
    """A reading as it is kept, without its channel."""

    time_ms: int
    raw_value: float
    raw_unit: str
    value: float | None
    flag: Flag
    reason: str
    arrival: Arrival
