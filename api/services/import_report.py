"""The file of what an import did not take: refused cells and conflicts, each with line, column, reason and text.

It goes on where it was kept last, so that a line written twice stands there once. Must not do: hold lines in memory,
or write a cell that a spreadsheet would run.
"""

from __future__ import annotations

import csv
import os
from collections.abc import Iterable
from pathlib import Path
from types import TracebackType

from api.intake.block import RefusedRow
from api.services.export import harmless

COLUMNS = ("line", "column", "reason", "text")
MOST_TEXT = 500


class ImportReport:
    """Writes after the first ``kept_bytes`` of the file; what stands behind them was never counted, and goes."""

    def __init__(self, path: Path, kept_bytes: int) -> None:
        self.path = path
        self._file = path.open("a+", encoding="utf-8", newline="")
        self._file.truncate(kept_bytes)
        self._file.seek(0, os.SEEK_END)
        self._writer = csv.writer(self._file)

    def add(self, rows: Iterable[RefusedRow]) -> int:
        """Write rows and return the file's length when they are on disk. [bytes]"""
        for number, row in enumerate(rows):
            if not number and not self._file.tell():
                self._writer.writerow(COLUMNS)
            cells = (row.column, row.reason, row.text[:MOST_TEXT])
            self._writer.writerow([row.line, *(harmless(cell) for cell in cells)])
        self._file.flush()
        os.fsync(self._file.fileno())
        return self._file.tell()

    def __enter__(self) -> ImportReport:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._file.close()
        if not self.path.stat().st_size:
            self.path.unlink()
