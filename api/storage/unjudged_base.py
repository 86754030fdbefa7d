"""What the services ask of a store for recorded readings that are kept and not judged yet, as a protocol.

Writes inside ``Store.write`` only. Must not do: judge.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from api.domain.quantity import Quantity
from api.science.arrays import Ints

NEVER_MS = -1


@dataclass(frozen=True, slots=True)
class Unjudged:
    """One channel of an import that is under way.

    ``spans_ms``: first and last time of each stretch whose kept readings are still to be judged, one row each.
    ``last_ms``: the last reading taken to be judged; ``newest_ms``: the newest one kept of the file itself;
    ``changes_ms``: up to where too fast changes were looked for; -1: none. ``at_end``: its file runs newest first, and
    the whole channel is judged when the file is over.
    """

    spans_ms: Ints
    last_ms: int = NEVER_MS
    newest_ms: int = NEVER_MS
    changes_ms: int = NEVER_MS
    at_end: bool = False


class UnjudgedStore(Protocol):
    """What of each import is kept and not judged yet."""

    def of(self, job: int) -> dict[tuple[str, Quantity], Unjudged]:
        """All of one import, by probe and quantity."""

    def holds(self, probe: str, quantity: Quantity) -> bool:
        """Whether an import that is under way has this channel in hand."""

    def put(self, job: int, probe: str, quantity: Quantity, one: Unjudged, fresh_ms: Ints | None = None) -> None:
        """Put a channel anew; with ``fresh_ms`` only these of its spans are new, and the others are there already."""

    def judged(self, job: int, probe: str, quantity: Quantity, up_to_ms: int) -> None:
        """Drop what of a channel's spans lies before a time; they do not overlap."""

    def drop(self, job: int) -> None:
        """All of an import is judged."""
