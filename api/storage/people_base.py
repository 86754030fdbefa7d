"""What the services ask of a store about changes of people, as a protocol. Writes inside ``Store.write`` only."""

from __future__ import annotations

from typing import Protocol

from api.domain.people_change import PeopleChange


class PeopleStore(Protocol):
    """Every change of people ever made on a page; nothing is overwritten."""

    def change(self, change: PeopleChange) -> int:
        """Keep a change and return its id."""

    def changes(self) -> list[PeopleChange]:
        """All of them, oldest first."""
