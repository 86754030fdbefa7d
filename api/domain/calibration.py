"""Calibrations of a probe's one quantity, as a person enters them, and the line they put a reading on.

Must not do: compute what air-saturated water holds (``api/science/oxygen.py``); the expected value is handed in.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from api.domain.errors import InputError
from api.domain.quantity import MEANING, Quantity

SLOPES = (0.2, 5.0)
"""A slope outside this is a typing mistake or a dead probe."""
USUAL_SLOPES = (0.8, 1.25)
"""A slope outside this is taken, with a warning: clean the probe or renew its membrane first (judgement)."""


class CalibrationKind(StrEnum):
    """How a probe was compared with what it should say."""

    OFFSET = "offset"
    OFFSET_AND_SLOPE = "offset_and_slope"
    AIR_SATURATION = "air_saturation"
    ZERO_POINT = "zero_point"


OXYGEN_ONLY = frozenset({CalibrationKind.AIR_SATURATION, CalibrationKind.ZERO_POINT})


@dataclass(frozen=True, slots=True)
class Line:
    """What a probe says to what is true, both in the quantity's canonical unit: ``true = offset + slope * said``."""

    from_ms: int
    offset: float = 0.0
    slope: float = 1.0

    def true(self, said: float) -> float:
        """The calibrated value; an array gives an array."""
        return self.offset + self.slope * said


@dataclass(frozen=True, slots=True)
class Calibration:
    """One comparison, in force from ``from_ms``. Values are in the quantity's canonical unit, as the probe said them.

    ``said`` and ``expected`` are one pair; offset-and-slope needs a second one. For oxygen at air saturation the
    temperature [Cel] and station pressure [kPa] that the expected value came from are kept with it.

    Raises InputError for numbers that cannot be a calibration.
    """

    probe: str
    quantity: Quantity
    kind: CalibrationKind
    from_ms: int
    said: float
    expected: float
    said_2: float | None = None
    expected_2: float | None = None
    temperature_c: float | None = None
    pressure_kpa: float | None = None
    person: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if self.kind in OXYGEN_ONLY and self.quantity not in (Quantity.OXYGEN, Quantity.OXYGEN_SATURATION):
            raise InputError(f"{self.kind} is for oxygen probes; {MEANING[self.quantity].label} takes an offset")
        if self.kind is CalibrationKind.OFFSET_AND_SLOPE:
            if self.said_2 is None or self.expected_2 is None:
                raise InputError("offset and slope need two pairs: what the probe said and what was true, twice")
            if abs(self.said_2 - self.said) < 1e-9:
                raise InputError("both pairs have the same reading; take them at two values far apart")
        if self.kind is CalibrationKind.AIR_SATURATION and self.said <= 0:
            raise InputError("a probe that says nothing or less at air saturation is broken; renew its membrane or tip")


def line_of(history: Iterable[Calibration]) -> Line:
    """The line that calibrations, in the order they took effect, put readings on after the last of them.

    An air-saturation calibration keeps the zero point before it and sets the slope; a zero point keeps the value at
    which the last slope was set. Offset, and offset and slope, begin anew.

    Raises InputError when the slope is none a working probe can have.
    """
    line, zero, air = Line(0), 0.0, None
    for one in history:
        if one.kind is CalibrationKind.OFFSET:
            line, zero, air = Line(one.from_ms, one.expected - one.said), 0.0, None
        elif one.kind is CalibrationKind.OFFSET_AND_SLOPE:
            slope = ((one.expected_2 or 0.0) - one.expected) / ((one.said_2 or 0.0) - one.said)
            line, zero, air = Line(one.from_ms, one.expected - slope * one.said, slope), 0.0, None
        else:
            if one.kind is CalibrationKind.ZERO_POINT:
                zero = one.said
            else:
                air = (one.said, one.expected)
            slope = 1.0 if air is None else _slope(air, zero)
            line = Line(one.from_ms, -slope * zero, slope)
        if not SLOPES[0] <= line.slope <= SLOPES[1]:
            raise InputError(
                f"this calibration asks for a slope of {line.slope:.3g}; a working probe lies between "
                f"{SLOPES[0]:g} and {SLOPES[1]:g}. Check the numbers and their units, clean the probe, try again"
            )
    return line


def lines_of(history: Iterable[Calibration]) -> tuple[Line, ...]:
    """The line after each calibration, in the order they take effect."""
    ordered = sorted(history, key=lambda one: one.from_ms)
    return tuple(line_of(ordered[: count + 1]) for count in range(len(ordered)))


def line_at(lines: tuple[Line, ...], time_ms: int) -> Line | None:
    """The line in force at a time; None before the first calibration."""
    for line in reversed(lines):
        if line.from_ms <= time_ms:
            return line
    return None


def _slope(air: tuple[float, float], zero: float) -> float:
    if air[0] - zero <= 0:
        raise InputError("the probe says no more at air saturation than at zero oxygen; check both readings")
    return air[1] / (air[0] - zero)
