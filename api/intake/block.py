"""What a file's rows become: readings of one probe and quantity as arrays, and refused rows with their reason.

Must not do: convert a value, or leave out a row without saying so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from api.domain.quantity import Quantity


@dataclass(frozen=True, slots=True)
class Series:
    """One probe's one quantity within one block, in the order of the file.

    ``lines`` are lines of the file, from 1; ``times_ms`` UTC; ``values`` as the probe said them, finite, in ``unit``.
    """

    probe: str
    quantity: Quantity
    unit: str
    lines: NDArray[np.int64]
    times_ms: NDArray[np.int64]
    values: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class RefusedRow:
    """A row, or one cell of it, that was not taken; ``column`` is empty where the whole row is meant."""

    line: int
    column: str
    text: str
    reason: str


@dataclass(frozen=True, slots=True)
class Block:
    """Some rows of a file: what they say, and which were refused.

    ``rows`` counts data rows, ``next_row`` goes to ``blocks(start_row=)`` to read on after this block, ``share`` is how
    much of the file is read after it (0 to 1).
    """

    series: tuple[Series, ...]
    refused: tuple[RefusedRow, ...]
    rows: int
    next_row: int
    share: float
