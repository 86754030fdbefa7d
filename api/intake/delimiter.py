"""Which sign stands between the cells of a text file: the one that cuts its lines into equally many cells.

Must not do: trust the file's name.
"""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Sequence

FEW = 20
NAMES = {"\t": "tab", ";": "semicolon", "|": "pipe", ",": "comma"}


def cut(lines: Sequence[str], delimiter: str) -> list[tuple[str, ...]]:
    """The cells of each line; a line with a quote that is not closed is cut as if it had none."""
    return [_cut(line, delimiter) for line in lines]


def _cut(line: str, delimiter: str) -> tuple[str, ...]:
    if line.count('"') % 2 == 0:
        try:
            return tuple(next(csv.reader(io.StringIO(line, newline=""), delimiter=delimiter), ()))
        except csv.Error:
            pass
    return tuple(line.split(delimiter))


def _tail(rows: Sequence[Sequence[str]]) -> Sequence[Sequence[str]]:
    """The rows that are hardly a preamble: the last two thirds, or all of a few."""
    return rows if len(rows) < FEW else rows[len(rows) // 3 :]


def usual_width(rows: Sequence[Sequence[str]]) -> int:
    """The number of cells most rows have, a preamble apart; 0 for none."""
    counts = Counter(len(row) for row in _tail(rows) if len(row) > 1)
    return max(counts, key=lambda width: (counts[width], width)) if counts else 0


def find(lines: Sequence[str]) -> str | None:
    """The delimiter of these lines, None when none cuts them."""
    best: tuple[float, str] | None = None
    for delimiter in NAMES:
        rows = cut(lines, delimiter)
        width = usual_width(rows)
        tail = _tail(rows)
        share = sum(len(row) == width for row in tail) / len(tail) if width and tail else 0.0
        # Commas within cells (decimal commas, remarks) cut lines evenly too, so the other signs come first.
        if share > 0.3 and (best is None or share > best[0] + 0.25):
            best = share, delimiter
    return best[1] if best else None
