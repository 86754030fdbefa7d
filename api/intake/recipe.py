"""Everything needed to read one kind of file again, kept as JSON under a name a keeper chose.

Must not do: hold anything of one file alone, such as its line numbers.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

from api.domain.errors import InputError
from api.intake.label_words import Role

if TYPE_CHECKING:
    from api.intake.understood import Look

VERSION = 1


@dataclass(frozen=True, slots=True)
class ColumnRule:
    """What one column becomes; quantity, unit and probe are empty where rows say them, or where it is no reading."""

    name: str
    role: Role
    quantity: str = ""
    unit: str = ""
    probe: str = ""


@dataclass(frozen=True, slots=True)
class TimeRule:
    """How times are read: ``text``, ``epoch_s``, ``epoch_ms``, ``serial`` or ``serial_1904``.

    ``order`` of day, month and year where a text does not say it; ``zone`` of times that name none; ``repeated`` is how
    the doubled hour is settled (``order``, ``earlier``, ``later``, ``refuse``); ``clock`` the time of day of dates that
    have none (``HH:MM``); ``falling`` where the file runs from new to old; ``marks`` minutes east of zone letters that
    have several meanings.
    """

    how: str = "text"
    order: str = ""
    zone: str = ""
    repeated: str = "refuse"
    clock: str = ""
    falling: bool = False
    marks: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Recipe:
    """How such a file is read. ``probe`` is of readings whose column and row name none, ``probes`` what the file calls
    them to our ids, ``units`` of rows that name none by quantity, ``quantities`` the file's words to ours.
    """

    kind: str
    delimiter: str
    sheet: str
    columns: tuple[ColumnRule, ...]
    time: TimeRule
    decimal: str = "."
    grouped: bool = False
    quantity: str = ""
    probe: str = ""
    probes: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    quantities: Mapping[str, str] = field(default_factory=dict)
    last_line: str = "refuse"
    answers: Mapping[str, str] = field(default_factory=dict)

    def of(self, role: Role) -> ColumnRule | None:
        """The first column that became this; None without one."""
        return next((one for one in self.columns if one.role is role), None)

    def the(self, role: Role) -> ColumnRule:
        """The column that must have become this. Raises InputError when the recipe lacks it."""
        found = self.of(role)
        if found is None:
            raise InputError(f"the recipe has no column for {role}; look at the file again and keep it anew")
        return found

    @property
    def readings(self) -> tuple[ColumnRule, ...]:
        """The columns that hold readings."""
        return tuple(one for one in self.columns if one.role in (Role.READING, Role.VALUE))

    @property
    def long(self) -> bool:
        """Whether each row is one reading that says its own quantity."""
        return self.of(Role.VALUE) is not None

    def to_json(self) -> str:
        """As text to keep."""
        return json.dumps({"version": VERSION, **asdict(self)}, ensure_ascii=False, sort_keys=True)

    @classmethod
    def from_json(cls, text: str) -> Recipe:
        """From kept text. Raises InputError when it is no recipe of ours."""
        try:
            told: dict[str, Any] = json.loads(text)
            if told.pop("version") != VERSION:
                raise InputError("this recipe was kept by another version; look at the file again and keep it anew")
            columns = tuple(ColumnRule(**one | {"role": Role(one["role"])}) for one in told.pop("columns"))
            return cls(columns=columns, time=TimeRule(**told.pop("time")), **told)
        except (ValueError, TypeError, KeyError, AttributeError) as error:
            raise InputError(
                f"this is no recipe for a file ({error}); look at the file again and keep it anew"
            ) from error

    def fits(self, look: Look) -> str:
        """Why this recipe does not fit a file that was looked at; empty when it does."""
        if look.kind != self.kind:
            return f"the recipe is for a file of kind {self.kind}, this one is {look.kind}"
        there = {one.name for one in look.columns}
        lacking = [one.name for one in self.columns if one.role is not Role.SKIP and one.name not in there]
        if lacking:
            names = ", ".join(repr(name) for name in lacking[:5])
            return f"the file lacks the column{'' if len(lacking) == 1 else 's'} {names} that the recipe reads"
        return ""
