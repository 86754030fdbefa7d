"""What the services ask of a store about alerts in the past, as a protocol. Must not do: hold any logic."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple, Protocol


class AlertStepRow(NamedTuple):
    """A step in an alert's life beside what the alert is about and how urgent it became."""

    alert: int
    subject: str
    tank: str | None
    kind: str
    priority: str
    event: str
    time_ms: int
    person: str
    text: str


class StoodRow(NamedTuple):
    """An alert that stood in a time; ``ended_ms`` None: it still does."""

    alert: int
    subject: str
    tank: str | None
    kind: str
    probe: str | None
    quantity: str | None
    priority: str
    state: str
    since_ms: int
    raised_ms: int
    ended_ms: int | None
    found_late: int
    worst: float | None
    limit_value: float | None
    text: str
    acknowledged_by: str | None


class AlertHistoryStore(Protocol):
    """Alerts over time."""

    def steps(self, start_ms: int, end_ms: int, events: Sequence[str] = ()) -> list[AlertStepRow]:
        """Steps from start (inside) to end (outside), oldest first; ``events`` empty: every kind of step."""

    def stood(self, start_ms: int, end_ms: int) -> list[StoodRow]:
        """Alerts that stood at any moment between start and end, oldest first."""
