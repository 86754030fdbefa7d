"""What the services ask of a store about imports, as a protocol. Writes inside ``Store.write`` only."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any, Protocol

from api.domain.import_job import ImportJob, JobState, KeptRecipe


class ImportStore(Protocol):
    """Imports, under way and past, and the understandings kept by name."""

    def open(self, job: ImportJob) -> int:
        """Keep a new import (its own id is not looked at) and return its id."""

    def change(self, job: int, **fields: Any) -> None:
        """Change fields of an import."""

    def job(self, job: int) -> ImportJob | None:
        """One import."""

    def jobs(self, states: Collection[JobState] | None = None, most: int = 200) -> list[ImportJob]:
        """Newest first; None: of every state."""

    def of_file(self, digest: str) -> ImportJob | None:
        """The newest import of a file with this content."""

    def newest_alert(self) -> int:
        """The highest id an alert has; 0 before the first."""

    def found_late(self, after: int, probes: Collection[str]) -> list[int]:
        """Alerts of these probes found late, with an id above ``after``."""

    def keep_recipe(self, recipe: KeptRecipe) -> None:
        """Keep an understanding; one of the same name is replaced."""

    def drop_recipe(self, name: str) -> None:
        """Forget an understanding."""

    def recipes(self) -> list[KeptRecipe]:
        """Every kept understanding, by name."""
