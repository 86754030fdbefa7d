"""Where a table's names, units and readings stand among its first rows: preamble, header, row of units, first data row.

Must not do: decide what a column becomes (``columns.py``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from api.intake import labels
from api.intake.delimiter import usual_width
from api.intake.errors import FileError
from api.intake.label_words import Role
from api.intake.numbers import MISSING, number
from api.intake.rows import HeadRow
from api.intake.time_text import said
from api.intake.times import EPOCH_S

MOST_HEADER_ROWS = 5


@dataclass(frozen=True, slots=True)
class Top:
    """The names of the columns (doubled ones told apart by their place), units below them, and the first data row.

    ``skipped``: rows between the names and the first data row that say something else than units.
    """

    names: tuple[str, ...]
    units: tuple[str, ...]
    line: int | None
    data_line: int
    preamble: tuple[HeadRow, ...]
    data: tuple[HeadRow, ...]
    doubled: tuple[str, ...] = ()
    skipped: tuple[HeadRow, ...] = ()

    @property
    def width(self) -> int:
        """How many columns there are."""
        return len(self.names)


def is_number(text: str) -> bool:
    """Whether a cell is a number, with either decimal sign."""
    return any(value == value for value, *_ in (number(text, "."), number(text, ",")))


def is_time(text: str) -> bool:
    """Whether a cell says a date, a clock time, or seconds or milliseconds since 1970."""
    if said(text):
        return True
    value = number(text)[0]
    return EPOCH_S[0] <= value <= EPOCH_S[1] or EPOCH_S[0] <= value / 1000 <= EPOCH_S[1]


def _is_data(cells: Sequence[str]) -> bool:
    """A time and a reading or a gap; or nothing but numbers and gaps."""
    told = [cell for cell in cells if cell.strip()]
    times = [is_time(cell) for cell in told]
    others = [cell for cell, time in zip(told, times, strict=True) if not time]
    counted = [cell for cell in others if is_number(cell)]
    if any(times):
        return (
            bool(counted) or any(cell.strip().casefold() in MISSING for cell in others) or len(others) < len(told) - 1
        )
    return len(counted) >= max(2, len(told) / 2)


def find(source: Path, head: Sequence[HeadRow]) -> Top:
    """Raises FileError when no rows of readings are found, saying whether there is a header."""
    width = usual_width([row.cells for row in head])
    if width < 2:
        width = max((len(row.cells) for row in head), default=0)
    first = next((at for at, row in enumerate(head) if len(row.cells) == width and _is_data(row.cells)), None)
    if first is None:
        raise _nothing(source, head, width)
    while first and _has_time(head[first - 1]) and abs(len(head[first - 1].cells) - width) < width - 1:
        first -= 1
    data, line = tuple(head[first:]), head[first].line
    ended = all(not row.cells[-1].strip() for row in data if len(row.cells) == width)
    near = head[max(0, first - MOST_HEADER_ROWS) : first]
    above = [
        row
        for row in near
        if not _has_time(row) and width - ended <= len(row.cells) <= width and _is_wide(row.cells, width)
    ]
    if above:
        return _named(head, above, width, data)
    if first and _score(head[first - 1]) >= 5 and not any(map(is_number, head[first - 1].cells)):
        raise _unlike(source, head[first - 1], head[first])
    names = tuple(f"column {at}" for at in range(1, width + 1))
    return Top(names, ("",) * width, None, line, tuple(head[:first]), data)


def _named(head: Sequence[HeadRow], above: Sequence[HeadRow], width: int, data: tuple[HeadRow, ...]) -> Top:
    """The header among the rows above the first data row, with a row of units below it and of groups above."""
    main = max(above, key=lambda row: (_score(row), -row.line))
    units = next((row.cells for row in above if row.line > main.line and _is_units(row.cells)), ())
    names = [cell.strip().strip("'\"").lstrip("#\ufeff").strip() for cell in _wide(main.cells, width)]
    group = next((row for row in reversed(above) if row.line < main.line and len(row.cells) == width), None)
    if group is not None and len(set(filter(None, names))) < sum(map(bool, names)):
        names = _grouped(group.cells, names)
    names, doubled = _told_apart(names)
    before = tuple(row for row in head if row.line < main.line)
    below = (row for row in head if main.line < row.line < data[0].line and row.cells is not units)
    skipped = tuple(row for row in below if any(cell.strip() for cell in row.cells))
    return Top(tuple(names), _wide(units, width), main.line, data[0].line, before, data, doubled, skipped)


def _nothing(source: Path, head: Sequence[HeadRow], width: int) -> FileError:
    """Why no rows of readings are found."""
    names = max(head, key=_score, default=None)
    if names is not None and _score(names) >= 2:
        others = [row for row in head if row.line > names.line and any(cell.strip() for cell in row.cells)]
        if not others or all(_is_units(row.cells) for row in others):
            what = "there is a header and no row of readings below it"
            return FileError(str(source), what, "see whether the logger has written any, or was cut short", names.line)
        cells = len(others[0].cells)
        if cells != len(names.cells) and sum(len(row.cells) == cells for row in others) > len(others) // 2:
            return _unlike(source, names, others[0])
    line = head[0].line if head else None
    what = f"no row with a time and a reading is among the first {len(head)}"
    return FileError(str(source), what, f"export one row a time, with a header; it has {width} columns now", line)


def _unlike(source: Path, names: HeadRow, row: HeadRow) -> FileError:
    """A header whose cells are not as many as those of the rows below it."""
    return FileError(
        str(source), f"the header has {len(names.cells)} cells and this row has {len(row.cells)}",
        "give each column a name; a decimal comma cannot stand where commas part the cells (export with semicolons, or"
        " with decimal points)", row.line,
    )  # fmt: skip


def _has_time(row: HeadRow) -> bool:
    """Whether a row has a date in a cell of its own, as only rows of readings have."""
    return any((found := said(cell)) is not None and found.date is not None for cell in row.cells)


def _is_wide(cells: Sequence[str], width: int) -> bool:
    """Whether a row can name columns: more than one cell says something."""
    return sum(bool(cell.strip()) for cell in cells) >= min(2, width)


def _wide(cells: Sequence[str], width: int) -> tuple[str, ...]:
    return tuple(cells) + ("",) * (width - len(cells))


def _score(row: HeadRow) -> float:
    """How much a row looks like names: known words count most, then any text that is no unit."""
    score = 0.0
    for cell in row.cells:
        label = labels.read(cell)
        if label.role is not None and not labels.is_unit(cell):
            score += 3 if label.role is not Role.READING else 2
        elif cell.strip() and not is_number(cell) and not is_time(cell) and not labels.is_unit(cell):
            score += 0.5
    return score


def _is_units(cells: Sequence[str]) -> bool:
    told = [cell.strip() for cell in cells if cell.strip()]
    units = sum(labels.is_unit(cell) for cell in told)
    return bool(told) and units >= 1 and units >= len(told) / 3


def _grouped(group: Sequence[str], names: Sequence[str]) -> list[str]:
    """``Tank 1`` over ``Temp`` and ``DO``: the upper name is carried on to the right until the next."""
    out, above = [], ""
    for upper, name in zip(group, names, strict=True):
        above = upper.strip() or above
        role = labels.read(name).role
        out.append(name if role not in (Role.READING, None) else f"{above} {name}".strip())
    return out


def _told_apart(names: Sequence[str]) -> tuple[list[str], tuple[str, ...]]:
    """Doubled and empty names with their place behind them."""
    out, doubled = [], []
    for at, name in enumerate(names, 1):
        if not name:
            out.append(f"column {at}")
        elif names.count(name) > 1:
            out.append(f"{name} (column {at})")
            doubled.append(name)
        else:
            out.append(name)
    return out, tuple(dict.fromkeys(doubled))
