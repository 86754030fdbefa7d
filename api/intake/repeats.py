"""The doubled hour of daylight saving: which of two times a row means, by the order of the rows or by what was told.

Must not do: settle a time that neither of them settles.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from api.intake.instants import Instants

ANOTHER_HOUR_MS = 12 * 3_600_000
WHY = "its time is in the doubled hour of daylight saving, and nothing says which of the two it means"


@dataclass(slots=True)
class Repeats:
    """Walks through rows in the order of the file; ``last`` is each stream's last doubled time, ``turned`` whether it
    has gone back once, ``falling`` whether the file runs from new to old.
    """

    how: str
    falling: bool = False
    last: dict[str, int] = field(default_factory=dict)
    turned: dict[str, bool] = field(default_factory=dict)

    def settle(self, instants: Instants, streams: Sequence[str] | None) -> NDArray[np.int64]:
        """UTC times; rows in the doubled hour that cannot be settled are added to ``instants.bad``."""
        time_ms = instants.earlier_ms
        rows = np.flatnonzero(instants.doubled)
        if not len(rows):
            return time_ms
        time_ms = time_ms.copy()
        for row in rows.tolist():
            if self.how == "refuse":
                instants.bad.setdefault(row, WHY)
            elif self.how == "later" or (self.how == "order" and self._second(row, instants, streams)):
                time_ms[row] = instants.later_ms[row]
        return time_ms

    def _second(self, row: int, instants: Instants, streams: Sequence[str] | None) -> bool:
        """Whether the row means the later of its two times."""
        stream, local_ms = streams[row] if streams is not None else "", int(instants.local_ms[row])
        last = self.last.get(stream)
        if last is None or abs(local_ms - last) > ANOTHER_HOUR_MS:
            self.turned[stream] = False
        elif (local_ms > last) if self.falling else (local_ms < last):
            self.turned[stream] = True
        self.last[stream] = local_ms
        return self.turned[stream] != self.falling


def proved(times: Sequence[int], *, falling: bool) -> bool:
    """Whether one stream's doubled times, in the order of the file, go through each doubled hour exactly twice."""
    start, backs = 0, 0
    for at in range(1, len(times) + 1):
        if at == len(times) or abs(times[at] - times[at - 1]) > ANOTHER_HOUR_MS:
            if backs != 1:
                return False
            start, backs = at, 0
        elif (times[at] > times[at - 1]) if falling else (times[at] < times[at - 1]):
            backs += 1
    return start == len(times) and bool(times)
