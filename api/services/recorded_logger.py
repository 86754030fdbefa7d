"""Any logger's file for a rehearsal, where it says everything itself: probe, quantity, unit and zone.

Must not do: answer what the file leaves open; an import asks that.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from api.domain.errors import InputError
from api.intake.block import RefusedRow
from api.intake.blocks import blocks
from api.intake.look import look
from api.services.recorded_parts import FILE_PLACES, Part


def logger_parts(path: Path, number: int, refuse: Callable[[RefusedRow], None], columns: InputError) -> list[Part]:
    """All of a file as parts; ``number``: which file it is, ``columns``: why it is none of our own.

    Raises InputError for a file that is not understood, or that leaves something open, naming what.
    """
    try:
        seen = look(path)
    except InputError as error:
        raise InputError(f"{columns}; as a logger's file: {error}") from error
    if seen.recipe is None:
        left = ", ".join(one.key for one in seen.questions if one.must)
        raise InputError(f"{columns}; as a logger's file it leaves open: {left} (intermolt import asks for it)")
    parts = []
    for block in blocks(path, seen.recipe):
        for one in block.refused:
            refuse(one)
        parts += [
            Part((one.probe, one.quantity), one.times_ms, one.values, [one.unit], one.lines + number * FILE_PLACES)
            for one in block.series
        ]
    return parts
