"""Alerts at rest (ISA-18.2 / IEC 62682): shelved, suppressed by design, out of service; judged and logged, not told.

Must not do: read a clock, or keep anything.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from api.domain.alert import AlertState, Priority, Subject


class Scope(StrEnum):
    """What is at rest: one alert's subject, a probe, or a whole tank."""

    ALERT = "alert"
    PROBE = "probe"
    TANK = "tank"


@dataclass(frozen=True, slots=True)
class Rest:
    """One rest. ``until_ms`` None: no end by itself, which only what is out of service has.

    ``priority`` is how urgent the alert was when it was shelved. ``outcome`` says in words what was found at its end.
    """

    id: int
    state: AlertState
    scope: Scope
    key: str
    person: str
    reason: str
    from_ms: int
    until_ms: int | None
    priority: Priority
    ended_ms: int | None = None
    ended_by: str = ""
    outcome: str = ""

    def covers(self, subject: Subject) -> bool:
        """Whether alerts about this subject rest. What concerns the whole room never does, unless it is shelved."""
        if self.scope is Scope.ALERT:
            return subject.key == self.key
        if self.scope is Scope.PROBE:
            return subject.probe == self.key
        return subject.tank == self.key


STRENGTH = {AlertState.OUT_OF_SERVICE: 0, AlertState.SUPPRESSED_BY_DESIGN: 1, AlertState.SHELVED: 2}
"""Which rest is shown where several cover an alert."""
