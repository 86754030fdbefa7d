"""What a look at a file says: how it was understood, what must be asked, and its first rows as readings.

Must not do: read a file.
"""

from __future__ import annotations

from dataclasses import dataclass

from api.intake.recipe import Recipe


@dataclass(frozen=True, slots=True)
class Question:
    """One thing the file does not say. Answered by ``answers[key]``: one of ``choices`` (value, words), or free text.

    With ``must`` nothing is read until it is answered; without, ``suggestion`` holds as long as nobody answers.
    """

    key: str
    text: str
    choices: tuple[tuple[str, str], ...]
    why: str
    suggestion: str | None = None
    must: bool = True


@dataclass(frozen=True, slots=True)
class ColumnRead:
    """What a column became, in words, its unit and its first cells."""

    name: str
    became: str
    unit: str
    examples: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PreviewRow:
    """A row as understood: its cells, the time (RFC 3339 in UTC; by the logger's clock while its
    zone is asked), readings as (probe, quantity, value, unit), and why
    anything of it is refused.
    """

    line: int
    cells: tuple[str, ...]
    time: str
    values: tuple[tuple[str, str, float, str], ...]
    refused: str


@dataclass(frozen=True, slots=True)
class Look:
    """A file as understood. ``recipe`` is None while a question that must be answered is open."""

    kind: str
    recipe: Recipe | None
    questions: tuple[Question, ...]
    columns: tuple[ColumnRead, ...]
    preview: tuple[PreviewRow, ...]
    notes: tuple[str, ...]
