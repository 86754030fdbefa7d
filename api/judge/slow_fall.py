"""A slow, straight fall of oxygen for hours: how a fouling cap or a spent membrane reads, and hardly any water. Pure.

With air on, water follows what consumes its oxygen within an hour or two and then rests (exchange of 1 to 4 an hour);
air that weakens makes it fall faster and faster. What goes on falling in a straight line for hours is the probe. Must
not do: weigh this beside other causes (``tank_watch.py``).
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from itertools import islice
from math import sqrt

CELL_MS = 1_200_000
CELLS_H = 3.0
"""Looked at in means of 20 minutes, three an hour."""
PAST = 78
"""What is usual is what the 26 hours before the fall were like. [cells]"""
LENGTHS = (7, 8, 10, 12, 15, 18, 22, 26, 30)
"""Falls of 2 to 10 hours are looked for. [cells]"""
LEAST_KNOWN = 24
FALLEN_MG_L, BELOW_MG_L, BEGAN_MG_L = 0.7, 0.45, 0.25
"""So far it fell, so far it stands below its usual low now, and so near to that, or to the hours before, it began. A
third of a milligram less than the 1 mg/L from which on the probe is said to lie (judgement, tuned on the simulated
room). [mg/L]"""
FALLEN_LEAST = BELOW_MG_L - BEGAN_MG_L - 1e-6
USUAL_LOW = 0.25
"""The quarter of the day with least oxygen stands for its usual low; so six hours of a fall cannot make it usual."""
SLOWEST, QUICKEST = 0.06, 0.36
"""A cap that fouls loses all it says within a day at the quickest; quicker falls are more often the water's
(judgement). [mg/L/h]"""
STRAIGHT_MG_L, NOISES = 0.024, 1.3
"""Off its line by no more than this and what noise makes of a mean."""
SLOWS, HASTENS = 0.82, 1.2
"""Slope of the second half over the first: the straight lie between. [1]"""
HOLDS_LESS, WARMS_K = 0.07, 1.2
"""Warmer water holds less, 0.15 mg/L for each kelvin at 25 degC (Benson & Krause). In a heater's turn it gets half as
far (judgement), and that is added again; more warmth than this explains too much. [mg/L/K], [K]"""


@dataclass(frozen=True, slots=True)
class Fall:
    """What was found: since when [ms], how far and how fast [mg/L, mg/L/h], and the usual low it has left [mg/L]."""

    since_ms: int
    fallen: float
    slope: float
    usual: float


Cell = tuple[int, float, float]
"""Number of the cell, oxygen [mg/L], temperature [Cel]."""


class SlowFall:
    """Keeps the means of one oxygen channel; ``found`` is the fall seen when the newest mean closed, if any."""

    __slots__ = ("_cell", "_cells", "_count", "_heat", "_oxygen", "found")

    def __init__(self) -> None:
        self._cells: deque[Cell] = deque(maxlen=PAST + LENGTHS[-1])
        self._cell = -1
        self._oxygen = self._heat = 0.0
        self._count = 0
        self.found: Fall | None = None

    def closes(self, time_ms: int) -> bool:
        """Whether a look at this time closes a mean."""
        return time_ms // CELL_MS != self._cell

    def add(self, time_ms: int, oxygen_mg_l: float, temperature_c: float, noise_mg_l: float, quiet_ms: int) -> None:
        """One look at the level. ``noise_mg_l``: of a mean of 20 minutes; ``quiet_ms``: when it was last disturbed."""
        cell = time_ms // CELL_MS
        if cell != self._cell:
            if self._count:
                self._cells.append((self._cell, self._oxygen / self._count, self._heat / self._count))
                self.found = self._look(noise_mg_l, quiet_ms)
            self._cell, self._count, self._oxygen, self._heat = cell, 0, 0.0, 0.0
        self._count += 1
        self._oxygen += oxygen_mg_l
        self._heat += temperature_c

    def _look(self, noise_mg_l: float, quiet_ms: int) -> Fall | None:
        """The shortest stretch up to now that is such a fall."""
        cells = list(self._cells)
        for length in LENGTHS:
            first = len(cells) - length
            if first < LEAST_KNOWN or cells[first][0] * CELL_MS <= quiet_ms:
                return None
            if cells[-1][0] - cells[first][0] != length - 1:
                continue  # a gap
            if cells[first][1] - cells[-1][1] < FALLEN_LEAST:
                continue  # it did not fall so far, whatever is usual
            before = sorted(one[1] for one in islice(cells, max(0, first - PAST), first))
            usual = before[int(USUAL_LOW * len(before))]
            fall = _fall(cells[first:], usual, min(usual, _just_before(cells, first)), noise_mg_l)
            if fall is not None:
                return fall
        return None


def _just_before(cells: list[Cell], first: int) -> float:
    """Where the water stood one to two hours before a fall: at night it may be lower than most of the day."""
    return sum(one[1] for one in cells[first - 6 : first - 3]) / 3.0


def _fall(part: list[Cell], usual: float, from_mg_l: float, noise_mg_l: float) -> Fall | None:
    oxygen = [one[1] + HOLDS_LESS * (one[2] - part[0][2]) for one in part]
    if usual - oxygen[-1] < BELOW_MG_L or from_mg_l - oxygen[0] > BEGAN_MG_L:
        return None
    if abs(part[-1][2] - part[0][2]) > WARMS_K:
        return None
    slope, off = line(oxygen)
    fallen = -slope * (len(oxygen) - 1) / CELLS_H
    if fallen < FALLEN_MG_L or not SLOWEST < -slope < QUICKEST or off > STRAIGHT_MG_L + NOISES * noise_mg_l:
        return None
    half = len(oxygen) // 2 + 1
    began, ends = line(oxygen[:half])[0], line(oxygen[-half:])[0]
    if began >= 0 or not SLOWS < ends / began < HASTENS:
        return None
    return Fall(part[0][0] * CELL_MS, fallen, slope, usual)


def line(values: list[float]) -> tuple[float, float]:
    """Slope of the straight line through means of 20 minutes [unit/h], and their root mean square off it [unit]."""
    count = len(values)
    middle, mean = (count - 1) / 2.0, sum(values) / count
    slope = sum((place - middle) * one for place, one in enumerate(values)) / (count * (count * count - 1) / 12.0)
    off2 = sum((one - mean - slope * (place - middle)) ** 2 for place, one in enumerate(values)) / count
    return slope * CELLS_H, sqrt(off2)
