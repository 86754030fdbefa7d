"""Any logger's file for a rehearsal: probe, quantity, unit and zone as it says them itself, or as they are answered.

Must not do: guess what the file leaves open.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from api.domain.errors import InputError
from api.intake.block import RefusedRow
from api.intake.blocks import blocks
from api.intake.look import NONE, look
from api.intake.understood import Question
from api.services.recorded_parts import FILE_PLACES, Part


class LeftOpen(InputError):
    """A file that does not say everything, and what has to be answered."""

    def __init__(self, text: str, questions: Sequence[Question]) -> None:
        super().__init__(text)
        self.questions = questions


def logger_parts(
    path: Path,
    number: int,
    refuse: Callable[[RefusedRow], None],
    columns: InputError,
    answers: Mapping[str, str] = NONE,
) -> list[Part]:
    """All of a file as parts; ``number``: which file it is, ``columns``: why it is none of our own.

    Raises InputError for a file that is not understood, LeftOpen for one that leaves something open.
    """
    try:
        seen = look(path, answers)
    except InputError as error:
        raise InputError(f"{columns}; as a logger's file: {error}") from error
    if seen.recipe is None:
        left = [one for one in seen.questions if one.must]
        keys = ", ".join(one.key for one in left)
        raise LeftOpen(f"{columns}; as a logger's file it leaves open: {keys}", left)
    parts = []
    for block in blocks(path, seen.recipe):
        for one in block.refused:
            refuse(one)
        parts += [
            Part((one.probe, one.quantity), one.times_ms, one.values, [one.unit], one.lines + number * FILE_PLACES)
            for one in block.series
        ]
    return parts
