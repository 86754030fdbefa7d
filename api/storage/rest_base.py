"""What the services ask of a store about alerts at rest, as a protocol. Writes inside ``Store.write`` only."""

from __future__ import annotations

from typing import Protocol

from api.domain.rest import Rest


class RestStore(Protocol):
    """Rests, running and ended, and how often an alert came."""

    def open(self, rest: Rest) -> int:
        """Keep a new rest (its own id is not looked at) and return its id."""

    def end(self, rest: int, now_ms: int, person: str, outcome: str) -> None:
        """A rest has ended. ``person`` empty: by itself."""

    def note(self, rest: int, outcome: str) -> None:
        """What was found at a rest's end."""

    def rests(self, *, running: bool, most: int = 200) -> list[Rest]:
        """Newest first; those that run, or all."""

    def activations(self, subject: str, from_ms: int) -> int:
        """How often a subject's alert was raised since a time."""
