"""From a checked reading and its care range to the samples the alert life cycle takes. Pure.

Must not do: treat a reading that failed its checks as a value; it becomes a sample of "not known".
"""

from __future__ import annotations

from api.domain.alert import AlertKind, Priority
from api.domain.band import Assessment, Band, Side
from api.domain.care import CareRange
from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag
from api.judge.alert_cycle import Delays, Sample

NOT_KNOWN_DELAYS = Delays(on_s=900.0, danger_on_s=900.0, off_s=0.0, readings=3, danger_readings=3)
"""A probe that cannot be believed is told after 15 minutes: judgement."""

KINDS: dict[Quantity, tuple[tuple[AlertKind, Side | None], ...]] = {
    Quantity.TEMPERATURE: ((AlertKind.HEAT, Side.HIGH), (AlertKind.COLD, Side.LOW)),
    Quantity.OXYGEN: ((AlertKind.LOW_OXYGEN, Side.LOW), (AlertKind.OUTSIDE_CARE, Side.HIGH)),
    Quantity.OXYGEN_SATURATION: ((AlertKind.LOW_OXYGEN, Side.LOW), (AlertKind.OUTSIDE_CARE, Side.HIGH)),
}
OTHER_KINDS: tuple[tuple[AlertKind, Side | None], ...] = ((AlertKind.OUTSIDE_CARE, None),)
LEVELS = {Band.DANGER: Priority.URGENT, Band.OUTSIDE: Priority.TODAY}


def usable(reading: CheckedReading) -> bool:
    """Whether a reading may be judged: flags 4 and 9 and values that could not be converted may not."""
    return reading.value is not None and reading.flag <= Flag.SUSPECT


def delays_of(care: CareRange) -> Delays:
    """The alert delays a care range asks for."""
    return Delays(care.on_delay_s, care.danger_on_delay_s, care.off_delay_s)


def sample(
    reading: CheckedReading, side: Side | None, assessment: Assessment, care: CareRange, *, late: bool
) -> Sample:
    """One kind's look at a usable reading; ``side`` None takes both sides.

    A suspect reading can begin an alert, which then says so, but cannot end one.
    """
    mine = side is None or assessment.side is side
    level = LEVELS.get(assessment.band) if mine else None
    return Sample(
        reading.time_ms,
        level,
        reading.value,
        assessment.limit if level is not None else None,
        back=reading.flag < Flag.SUSPECT and _back(reading.value, side, care),
        late=late,
        doubt=reading.reason if reading.flag is Flag.SUSPECT else "",
        side=side or (assessment.side if level is not None else None),
    )


def not_known(reading: CheckedReading, *, late: bool) -> Sample:
    """A look at whether the reading can be believed at all."""
    bad = not usable(reading)
    return Sample(reading.time_ms, Priority.TODAY if bad else None, reading.raw_value if bad else None, late=late)


def _back(value: float | None, side: Side | None, care: CareRange) -> bool:
    """Inside the limit that begins an alert by at least the deadband."""
    if value is None:
        return False
    low_ok = side is Side.HIGH or care.alert_low is None or value >= care.alert_low + care.deadband
    high_ok = side is Side.LOW or care.alert_high is None or value <= care.alert_high - care.deadband
    return low_ok and high_ok
