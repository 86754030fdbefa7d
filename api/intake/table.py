"""Opens any file as a table by its first bytes.

Must not do: understand a cell.
"""

from __future__ import annotations

from pathlib import Path

from api.intake.rows import Table
from api.intake.source import Kind, kind
from api.intake.text_table import open_text_table


def open_table(source: Path, delimiter: str = "", sheet: str = "") -> Table:
    """A file as a table; delimiter and sheet are found unless told. Raises FileError for what is no table."""
    if kind(source) is Kind.TEXT:
        return open_text_table(source, delimiter)
    raise NotImplementedError
