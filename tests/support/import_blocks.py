"""Blocks of an invented file for tests of imports: a temperature and an oxygen a minute of one probe."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from api.domain.import_job import GivenFile, ImportJob, JobState, Source
from api.domain.quantity import Quantity
from api.intake.block import Block, RefusedRow, Series
from api.services.import_folder import given_file
from tests.support.rooms import NOW_MS

START_MS = NOW_MS - 30 * 86_400_000
START_MS -= START_MS % 60_000


def minutes(rows: int, probe: str = "logger-1") -> Block:
    """All rows in one block; the third row's oxygen was no number."""
    lines = np.arange(2, rows + 2, dtype=np.int64)
    times = START_MS + 60_000 * np.arange(rows, dtype=np.int64)
    warm = 24.0 + 0.5 * np.sin(np.arange(rows) / 60.0)
    oxygen = 8.0 - 0.3 * np.sin(np.arange(rows) / 60.0)
    refused = (RefusedRow(4, "oxygen", "=1+1", "this is no number"),)
    return Block(
        (
            Series(probe, Quantity.TEMPERATURE, "Cel", lines, times, warm),
            Series(probe, Quantity.OXYGEN, "mg/L", np.delete(lines, 2), np.delete(times, 2), np.delete(oxygen, 2)),
        ),
        refused, rows, rows, 1.0,
    )  # fmt: skip


def cut(whole: Block, size: int) -> list[Block]:
    """The same rows in blocks of so many."""
    out = []
    for start in range(0, whole.rows, size):
        end = min(start + size, whole.rows)
        first, last = start + 2, end + 2
        series = []
        for one in whole.series:
            inside = (one.lines >= first) & (one.lines < last)
            series.append(
                Series(one.probe, one.quantity, one.unit, one.lines[inside], one.times_ms[inside], one.values[inside])
            )
        refused = tuple(one for one in whole.refused if first <= one.line < last)
        out.append(Block(tuple(series), refused, end - start, end, end / whole.rows))
    return out


class Blocks:
    """Reads the blocks as a file would be read, from a row on; ``asked`` are the rows it was begun at."""

    def __init__(self, blocks: list[Block]) -> None:
        self._blocks, self.asked = blocks, list[int]()

    def __call__(self, path: Path, recipe: str, start_row: int) -> Iterator[Block]:
        """The blocks after a row."""
        self.asked.append(start_row)
        yield from (one for one in self._blocks if one.next_row > start_row)


def job_of(path: Path, tanks: dict[str, str], recipe: str = "{}") -> ImportJob:
    """An import that waits for its turn."""
    given: GivenFile = given_file(path, path.name, "0" * 64, ours=False)
    return ImportJob(0, given, Source.COMMAND, "Noor", JobState.WAITING, NOW_MS, recipe=recipe, tanks=tanks)
