"""Opens any file as a table by its first bytes.

Must not do: understand a cell.
"""

from __future__ import annotations

from pathlib import Path

from api.intake.parquet_table import open_parquet_table
from api.intake.rows import Table
from api.intake.sheet_table import open_sheet_table
from api.intake.source import Kind, kind
from api.intake.text_table import open_text_table


def open_table(source: Path, delimiter: str = "", sheet: str = "") -> Table:
    """A file as a table; delimiter and sheet are found unless told. Raises FileError for what is no table."""
    found = kind(source)
    if found is Kind.XLSX:
        return open_sheet_table(source, sheet)
    return open_parquet_table(source) if found is Kind.PARQUET else open_text_table(source, delimiter)
