"""One column while it is understood, and all columns of a file.

Must not do: decide what a column becomes (``columns.py``).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from api.intake.label_words import Role
from api.intake.labels import Label
from api.intake.time_text import Said


@dataclass(slots=True)
class Column:
    """One column while it is understood; ``holds`` is time, date, clock, number, text or nothing."""

    name: str
    label: Label
    holds: str
    cells: tuple[str, ...]
    said: tuple[Said, ...] = ()
    role: Role = Role.SKIP
    quantity: str = ""
    unit: str = ""
    probe: str = ""
    became: str = ""


@dataclass(slots=True)
class Columns:
    """All columns of a file; ``how`` is how numbers in the time column are read."""

    all: list[Column]
    how: str = "text"
    spare: list[Column] = field(default_factory=list)

    def of(self, role: Role) -> Column | None:
        """The first with this role."""
        return next((one for one in self.all if one.role is role), None)

    def the(self, *roles: Role) -> Column:
        """The first with one of these roles, which ``decide`` has found."""
        return next(one for role in roles for one in self.all if one.role is role)

    @property
    def readings(self) -> list[Column]:
        """Those that hold readings, by quantity or as values of a long table."""
        return [one for one in self.all if one.role in (Role.READING, Role.VALUE)]


def bare_name(name: str) -> str:
    """A column's name without the place that tells doubled names apart."""
    return name.rpartition(" (column ")[0] or name
