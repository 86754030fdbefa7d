"""What the services ask of a store for a whole span of readings at once, column by column, as a protocol.

Writes inside ``Store.write`` only. Must not do: change what a probe said.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from api.domain.quantity import Quantity


@dataclass(frozen=True, slots=True)
class Columns:
    """Readings of one channel in rising time. ``values`` are NaN where there is none; ``reasons`` by place.

    ``units`` is one for all, or one for each.
    """

    times_ms: NDArray[np.int64]
    raws: NDArray[np.float64]
    units: str | list[str]
    values: NDArray[np.float64]
    flags: NDArray[np.int8]
    arrivals: NDArray[np.int8]
    reasons: Mapping[int, str] = field(default_factory=dict)

    def unit(self, place: int) -> str:
        """The unit of one reading."""
        return self.units if isinstance(self.units, str) else self.units[place]


class PastStore(Protocol):
    """Kept readings as columns."""

    def kept(self, probe: str, quantity: Quantity, start_ms: int, end_ms: int) -> Columns:
        """Kept readings from start (inside) to end (outside), in time order."""

    def before(self, probe: str, quantity: Quantity, time_ms: int) -> int | None:
        """The time of the newest kept reading before a time."""

    def after(self, probe: str, quantity: Quantity, time_ms: int) -> int | None:
        """The time of the oldest kept reading at or after a time."""

    def add(self, probe: str, quantity: Quantity, rows: Columns, *, derived: bool) -> None:
        """Keep readings of which none is kept yet; summaries and the newest reading follow."""
