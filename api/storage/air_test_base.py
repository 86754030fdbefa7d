"""What the services ask of a store about air tests, as a protocol. Writes inside ``Store.write`` only."""

from __future__ import annotations

from typing import NamedTuple, Protocol


class AirTestRow(NamedTuple):
    """One air test: the air went off, off for long enough, on again, over; None where that has not come yet.

    ``why``: how the time without air ended, or why the test was given up.
    """

    id: int
    tank: str
    person: str
    off_ms: int
    stop_ms: int | None
    on_ms: int | None
    ended_ms: int | None
    why: str


class AirTestStore(Protocol):
    """Air tests, of all tanks."""

    def open(self, tank: str, person: str, off_ms: int) -> int:
        """Keep a new test and return its id."""

    def change(
        self, test: int, *, stop_ms: int | None = None, on_ms: int | None = None, ended_ms: int | None = None, why: str
    ) -> None:
        """Note the next step of a test; what is None stays as it was, and so does ``why`` where it is empty."""

    def tests(self, tank: str | None = None, *, running: bool = False) -> list[AirTestRow]:
        """Tests, newest first; of one tank, or only those that run."""
