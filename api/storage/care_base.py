"""What the services ask of a store about care ranges over time, as a protocol. Writes inside ``Store.write`` only."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple, Protocol

from api.domain.care_change import CareChange


class CareVersion(NamedTuple):
    """A profile as the room file, or the program itself, said it from a time on."""

    name: str
    body: dict[str, Any]
    from_ms: int


class CareStore(Protocol):
    """Changes by people, and what the room file said when."""

    def change(self, change: CareChange) -> int:
        """Keep a change (its own id is not looked at) and return its id."""

    def changes(self) -> list[CareChange]:
        """All of them, oldest first."""

    def describe(self, name: str, body: Mapping[str, Any], now_ms: int) -> None:
        """A profile reads like this from now on; kept only where that is new."""

    def versions(self) -> list[CareVersion]:
        """Everything profiles ever read like, oldest first."""
