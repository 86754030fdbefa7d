"""A slow, straight fall of oxygen for hours: how a fouling cap or a spent membrane reads, and hardly any water. Pure.

With air on, water follows what consumes its oxygen within an hour or two and then rests (exchange of 1 to 4 an hour);
air that weakens makes it fall faster and faster. What goes on falling in a straight line for hours is the probe. Must
not do: weigh this beside other causes (``tank_watch.py``).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

CELL_MS = 1_200_000
CELLS_H = 3.0
"""Looked at in means of 20 minutes, three an hour."""
PAST = 78
"""What is usual is what the 26 hours before the fall were like. [cells]"""
LENGTHS = (7, 8, 10, 12, 15, 18, 22, 26, 30)
"""Falls of 2 to 10 hours are looked for. [cells]"""
LEAST_KNOWN = 24
KEPT = PAST + LENGTHS[-1]
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


class SlowFall:
    """Keeps the means of one oxygen channel; ``found`` is the fall seen when the newest mean closed, if any."""

    __slots__ = (
        "_before", "_cell", "_cells", "_count", "_fallen_mg_l", "_heat", "_kept", "_next", "_oxygen", "_part",
        "_since_ms", "_slope", "_usual_mg_l", "falls",
    )  # fmt: skip

    def __init__(self) -> None:
        self._cells = [[-1.0, 0.0, 0.0] for _ in range(KEPT)]
        """Number of the cell, oxygen [mg/L], temperature [Cel]; the oldest stands at ``_next`` when all are filled."""
        self._before, self._part = [0.0] * PAST, [0.0] * LENGTHS[-1]
        self._kept = self._next = self._count = 0
        self._cell = -1
        self._oxygen = self._heat = 0.0
        self.falls, self._since_ms, self._fallen_mg_l, self._slope, self._usual_mg_l = False, -1, 0.0, 0.0, 0.0

    @property
    def found(self) -> Fall | None:
        """The fall."""
        return Fall(self._since_ms, self._fallen_mg_l, self._slope, self._usual_mg_l) if self.falls else None

    def closes(self, time_ms: int) -> bool:
        """Whether a look at this time closes a mean."""
        return time_ms // CELL_MS != self._cell

    def add(self, time_ms: int, oxygen_mg_l: float, temperature_c: float, noise_mg_l: float, quiet_ms: int) -> None:
        """One look at the level. ``noise_mg_l``: of a mean of 20 minutes; ``quiet_ms``: when it was last disturbed."""
        cell = time_ms // CELL_MS
        if cell != self._cell:
            if self._count:
                self._keep(float(self._cell), self._oxygen / self._count, self._heat / self._count)
                self.falls = self._look(noise_mg_l, quiet_ms)
            self._cell, self._count, self._oxygen, self._heat = cell, 0, 0.0, 0.0
        self._count += 1
        self._oxygen += oxygen_mg_l
        self._heat += temperature_c

    def _keep(self, number: float, oxygen_mg_l: float, temperature_c: float) -> None:
        cell = self._cells[self._next]
        cell[0], cell[1], cell[2] = number, oxygen_mg_l, temperature_c
        self._next = (self._next + 1) % KEPT
        self._kept = min(self._kept + 1, KEPT)

    def _of(self, place: int, what: int) -> float:
        """What a cell says, counted from the oldest."""
        return self._cells[(self._next - self._kept + place) % KEPT][what]

    def _look(self, noise_mg_l: float, quiet_ms: int) -> bool:
        """The shortest stretch up to now that is such a fall."""
        last = self._kept - 1
        for length in LENGTHS:
            first = self._kept - length
            if first < LEAST_KNOWN or self._of(first, 0) * CELL_MS <= quiet_ms:
                return False
            if self._of(last, 0) - self._of(first, 0) != length - 1:
                continue  # a gap
            if self._of(first, 1) - self._of(last, 1) < FALLEN_LEAST:
                continue  # it did not fall so far, whatever is usual
            usual = self._usual_low(first)
            if self._is_fall(first, usual, min(usual, self._just_before(first)), noise_mg_l):
                return True
        return False

    def _usual_low(self, first: int) -> float:
        """The usual low of the day before a stretch."""
        start = max(0, first - PAST)
        for place in range(start, first):
            self._before[place - start] = self._of(place, 1)
        return low_quarter(self._before[: first - start])

    def _just_before(self, first: int) -> float:
        """Where the water stood one to two hours before a fall: at night it may be lower than most of the day."""
        return (self._of(first - 6, 1) + self._of(first - 5, 1) + self._of(first - 4, 1)) / 3.0

    def _is_fall(self, first: int, usual: float, from_mg_l: float, noise_mg_l: float) -> bool:
        oxygen, count = self._part, self._kept - first
        warm_c = self._of(first, 2)
        for place in range(count):
            oxygen[place] = self._of(first + place, 1) + HOLDS_LESS * (self._of(first + place, 2) - warm_c)
        if usual - oxygen[count - 1] < BELOW_MG_L or from_mg_l - oxygen[0] > BEGAN_MG_L:
            return False
        if abs(self._of(self._kept - 1, 2) - warm_c) > WARMS_K:
            return False
        slope, off = line(oxygen[:count])
        fallen = -slope * (count - 1) / CELLS_H
        if fallen < FALLEN_MG_L or not SLOWEST < -slope < QUICKEST or off > STRAIGHT_MG_L + NOISES * noise_mg_l:
            return False
        half = count // 2 + 1
        began, ends = line(oxygen[:half])[0], line(oxygen[count - half : count])[0]
        if began >= 0 or not SLOWS < ends / began < HASTENS:
            return False
        self._since_ms, self._usual_mg_l = int(self._of(first, 0)) * CELL_MS, usual
        self._fallen_mg_l, self._slope = fallen, slope
        return True


def low_quarter(values: list[float]) -> float:
    """The value a quarter of them lie below."""
    return sorted(values)[int(USUAL_LOW * len(values))]


def line(values: list[float]) -> tuple[float, float]:
    """Slope of the straight line through means of 20 minutes [unit/h], and their root mean square off it [unit]."""
    count, mean = len(values), 0.0
    middle = (count - 1) / 2.0
    for value in values:
        mean += value
    mean /= count
    slope = off2 = 0.0
    for place in range(count):
        slope += (place - middle) * values[place]
    slope /= count * (count * count - 1) / 12.0
    for place in range(count):
        off = values[place] - mean - slope * (place - middle)
        off2 += off * off
    return slope * CELLS_H, sqrt(off2 / count)
