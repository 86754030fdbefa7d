"""The first rows of a table, and the protocol by which every kind of file gives its rows.

Must not do: know a kind of file.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from api.intake.source import Kind
from api.intake.text_cells import Cells

HEAD_ROWS = 200


@dataclass(frozen=True, slots=True)
class HeadRow:
    """One of the first rows, as text cells, with its line."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Part:
    """Some rows. ``next_row`` goes to ``parts(start_row=)``; ``open_line`` is a last line that has no end."""

    cells: Cells
    next_row: int
    share: float
    open_line: int | None = None


class Table(Protocol):
    """A file whose rows can be read again and again; rows are counted from the first data line."""

    @property
    def source(self) -> Path:
        """The file."""

    @property
    def kind(self) -> Kind:
        """How it is read."""

    @property
    def delimiter(self) -> str:
        """The sign between cells; empty where there is none."""

    @property
    def sheet(self) -> str:
        """The sheet's name; empty where there are none."""

    @property
    def sheets(self) -> tuple[str, ...]:
        """All sheets that hold cells."""

    @property
    def notes(self) -> tuple[str, ...]:
        """What was found, in words."""

    @property
    def head(self) -> tuple[HeadRow, ...]:
        """The first rows."""

    def parts(self, data_line: int, width: int, start_row: int = 0, numbers: Collection[int] = ()) -> Iterator[Part]:
        """The rows from ``data_line`` + ``start_row`` on; where it is quicker, the columns at ``numbers`` as numbers.

        Raises FileError when the file cannot be read on.
        """
