"""Every nasty file, what it is in words and what became of it: ``python -m tests.intake_table``.

Must not do: judge (tests/api/intake/test_intake_nasty.py does).
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from api.domain.errors import InputError
from api.intake.blocks import blocks
from api.intake.look import look
from tests.support.nasty import Nasty
from tests.support.nasty_books import BOOKS
from tests.support.nasty_forms import FORMS
from tests.support.nasty_headers import HEADERS
from tests.support.nasty_numbers import NUMBERS
from tests.support.nasty_times import TIMES
from tests.support.nasty_wrecks import WRECKS

ALL: tuple[Nasty, ...] = (*FORMS, *HEADERS, *NUMBERS, *TIMES, *WRECKS, *BOOKS)
MOST = 6


@dataclass(frozen=True)
class Became:
    """What became of a file."""

    error: str
    asks: tuple[str, ...]
    gives: tuple[str, ...]
    refused: tuple[tuple[int, str], ...]
    says: tuple[str, ...]


def became(one: Nasty, folder: Path) -> Became:
    """Look at a file, answer what it asks, read it."""
    path = one.write(folder)
    try:
        first = look(path, one.answers)
        asks = tuple(question.key for question in first.questions if question.must)
        found = look(path, {**one.answers, **one.then}) if one.then else first
        if found.recipe is None:
            return Became("", asks, (), (), found.notes)
        series: dict[str, list[str]] = {}
        refused: list[tuple[int, str]] = []
        for block in blocks(path, found.recipe):
            refused += [(row.line, row.reason) for row in block.refused]
            for part in block.series:
                told = series.setdefault(f"{part.probe} {part.quantity} {part.unit}", [])
                told += map(_reading, part.times_ms.tolist(), part.values.tolist())
        gives = tuple(f"{name}: {_listed(told)}" for name, told in series.items())
        return Became("", asks, gives, tuple(refused), found.notes)
    except InputError as error:
        return Became(str(error).replace(str(path), path.name), (), (), (), ())


def _reading(time_ms: int, value: float) -> str:
    moment = datetime.fromtimestamp(time_ms / 1000, UTC)
    text = moment.strftime("%Y-%m-%d %H:%M:%S") + (f".{time_ms % 1000:03d}" if time_ms % 1000 else "")
    return f"{text} {value:g}"


def _listed(told: list[str]) -> str:
    return ", ".join(told) if len(told) <= MOST else f"{len(told)} from {told[0]} to {told[-1]}"


def in_words(answers: Mapping[str, str], found: Became) -> str:
    """One cell of the table."""
    if found.error:
        return f"not read: {found.error}"
    parts = []
    if found.asks:
        parts.append("asked for " + ", ".join(found.asks))
    if found.gives:
        parts.append("read as " + "; ".join(found.gives))
    if found.refused:
        parts.append("refused " + "; ".join(f"line {line} ({reason})" for line, reason in found.refused[:4]))
    return "; ".join(parts)


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as folder:
        print("| file | what it is | what became of it |\n| --- | --- | --- |")
        for one in ALL:
            cell = in_words(one.answers, became(one, Path(folder))).replace("|", "\\|").replace("\n", " ")
            print(f"| {one.name} | {one.words.replace('|', chr(92) + '|')} | {cell} |")
        print(f"\n{len(ALL)} files")


if __name__ == "__main__":
    main()
