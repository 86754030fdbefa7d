"""What an import asks of those who keep past readings, and what they answer."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

from api.domain.quantity import Quantity
from api.intake.block import RefusedRow, Series


@dataclass(frozen=True, slots=True)
class Conflict:
    """A row that says something else than what is kept of its moment already; what is kept stays."""

    probe: str
    quantity: Quantity
    line: int
    time_ms: int
    kept_value: float
    kept_unit: str
    given_value: float
    given_unit: str


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of some series; ``refused``: a time before 2000 or ahead of the clock, or what no probe can be."""

    accepted: int
    duplicate: int
    conflicts: tuple[Conflict, ...]
    refused: tuple[RefusedRow, ...]


Note = Callable[[int], object]
"""Hears how many readings were taken, in the transaction that keeps them."""


def no_note(taken: int) -> None:
    """Nobody counts."""


class Keep(Protocol):
    """Keeps readings of the past as the line would, late."""

    def begin(self, job: int) -> None:
        """An import begins, or goes on after whatever ended this process."""

    def take(self, series: Sequence[Series], now_ms: int, note: Note = no_note) -> Kept:
        """Keep them; returns after everything is committed.

        ``note`` is told in the writer, with each piece of work, how many readings the piece has taken.
        """

    def finish(self, goes_on: Callable[[], object] = lambda: None) -> None:
        """The file is over; ``goes_on`` hears of each piece of what is still to be done."""
