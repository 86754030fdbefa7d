"""Alerts: their kinds, priorities, states (ISA-18.2 / IEC 62682) and the events of their life."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from api.domain.cause import Cause
from api.domain.outlook import Outlook
from api.domain.quantity import Quantity


class AlertKind(StrEnum):
    """What is wrong."""

    HEAT = "heat"
    COLD = "cold"
    LOW_OXYGEN = "low_oxygen"
    QUIET_PROBE = "quiet_probe"
    QUIET_ROOM = "quiet_room"
    DATED_AHEAD = "dated_ahead"
    NOT_KNOWN = "not_known"
    OUTSIDE_CARE = "outside_care"
    CALIBRATION_DUE = "calibration_due"
    SOFT_AND_HARD = "soft_and_hard"
    MOTHER_STAYS = "mother_stays"
    NOT_DELIVERED = "not_delivered"
    CHANGE_IN_HOUR = "change_in_hour"
    CHANGE_IN_DAY = "change_in_day"


class AlertState(StrEnum):
    """Where an alert stands in its life cycle."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED_UNACKNOWLEDGED = "returned_unacknowledged"
    SHELVED = "shelved"
    SUPPRESSED_BY_DESIGN = "suppressed_by_design"
    OUT_OF_SERVICE = "out_of_service"


class Priority(StrEnum):
    """By when harm is expected: within about four hours, within the day, or no harm."""

    URGENT = "urgent"
    TODAY = "today"
    NOTE = "note"


PRIORITY_ORDER = {Priority.URGENT: 0, Priority.TODAY: 1, Priority.NOTE: 2}


class Event(StrEnum):
    """What happened to an alert."""

    RAISED = "raised"
    ESCALATED = "escalated"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned"
    CLEARED = "cleared"
    FOUND_LATE = "found_late"


@dataclass(frozen=True, slots=True)
class Subject:
    """What an alert is about; one alert stands for a subject at a time. ``tank`` None means the whole room.

    ``past``: told by readings that came after newer ones, and so of a time that is over.
    """

    tank: str | None
    kind: AlertKind
    probe: str | None = None
    quantity: Quantity | None = None
    past: bool = False

    @property
    def key(self) -> str:
        """One text for the subject, for use as a record's key."""
        parts = (self.tank, self.kind, self.probe, self.quantity, *(("past",) if self.past else ()))
        return "/".join(part or "" for part in parts)


@dataclass(frozen=True, slots=True)
class AlertEvent:
    """One step in an alert's life, on the readings' own time. ``told``: a person was or is to be told of the alert.

    ``worst`` is the value furthest beyond its limit so far. ``doubt`` says why the reading is suspect, if it is.
    ``outlook`` is what was expected at that moment, ``causes`` what may have happened, the likeliest first.
    """

    subject: Subject
    event: Event
    time_ms: int
    priority: Priority
    value: float | None
    limit: float | None
    since_ms: int
    told: bool = True
    worst: float | None = None
    doubt: str = ""
    outlook: Outlook | None = None
    causes: tuple[Cause, ...] = ()
