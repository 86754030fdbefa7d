"""Whether a probe stands still: how long all its numbers have stayed the same, beside how long they ever do. Pure.

Noise, coarse steps and quiet water each make a probe repeat itself; how often this one does is learned, run length by
run length, for each quantity and for all of them together. A fixed amount of memory. Must not do: say what it means for
the water.
"""

from __future__ import annotations

from math import log

from api.domain.quantity import Quantity

BINS = 14
"""Lengths of 1, 2 to 3, 4 to 7, ... repeats are learned apart."""
STAYS, LONGER_STAYS, WEIGHT = 0.76, 0.2, 4.0
"""Until it was seen: odds of one repeat, by how much of the rest longer runs go on rather, and how many sights weigh as
much as that (judgement, tuned on the simulated room)."""
LEAST_ODDS = 0.004
LEARNED_REPEATS = 40
"""A longer run teaches no more than this: it may have been a fault."""
MANY = 4000.0
KNOWN_MS = 6 * 3_600_000
COARSE, LONGER, LONGER_COARSE = 0.6, 1.2, 1.8
"""A run must be so many times longer than any before; more where a quantity is likely to go on standing still."""
LONGEST_KEPT, AT_MOST, AT_MOST_MS = 0.999, 1.5, 1_200_000
GAP_READINGS = 4.0


PLACES = {Quantity.TEMPERATURE: 0, Quantity.OXYGEN: 1, Quantity.OXYGEN_SATURATION: 2}
"""Where the quantities that are followed stand."""
FOLLOWED = len(PLACES)


def bin_of(repeats: int) -> int:
    """Where a run of so many repeats, at least one, is counted."""
    place = 0
    while repeats > 1 and place < BINS - 1:
        repeats >>= 1
        place += 1
    return place


class Habit:
    """How often runs of so many repeats go on, and the run at present."""

    __slots__ = ("goes", "last", "last_ms", "same", "since_ms", "stays")

    def __init__(self) -> None:
        self.stays, self.goes = [0.0] * BINS, [0.0] * BINS
        self.same, self.last, self.last_ms, self.since_ms = 0, 0.0, -1, -1

    def learn(self, run: int) -> None:
        """A run of so many repeats is over."""
        if not run and self.goes[0] + 1.0 <= MANY:  # nearly always
            self.goes[0] += 1.0
            return
        if run == 0 and self.goes[0] < MANY:
            self.goes[0] += 1.0
            return
        for repeat in range(1, min(run, LEARNED_REPEATS) + 1):
            self.stays[bin_of(repeat)] += 1.0
        if run <= LEARNED_REPEATS:
            self.goes[bin_of(run + 1)] += 1.0
            if self.goes[0] > MANY:
                for place in range(BINS):
                    self.stays[place], self.goes[place] = self.stays[place] / 2.0, self.goes[place] / 2.0

    def take(self, time_ms: int, value: float, every_ms: float) -> None:
        """One reading."""
        if self.last_ms < 0 or time_ms - self.last_ms > GAP_READINGS * every_ms:
            self.same, self.since_ms = 0, time_ms
        elif value == self.last:
            self.same += 1
        else:
            self.learn(self.same)
            self.same, self.since_ms = 0, time_ms
        self.last, self.last_ms = value, time_ms

    def odds(self) -> list[float]:
        """Odds that a run of each length goes on. [1]"""
        out: list[float] = []
        expected = STAYS
        for stays, goes in zip(self.stays, self.goes, strict=True):
            out.append((stays + WEIGHT * expected) / (stays + goes + WEIGHT))
            expected = out[-1] + LONGER_STAYS * (1.0 - out[-1])
        return out


class Standstill:
    """One probe's quantities together."""

    __slots__ = ("_begun_ms", "_habits", "_longest_ms", "_moment_ms", "_moved_ms", "_run", "_together")

    def __init__(self) -> None:
        self._habits = [Habit() for _ in PLACES]
        self._together = Habit()
        self._begun_ms = self._moment_ms = self._moved_ms = -1
        self._run = 0
        self._longest_ms = 0.0

    def take(self, quantity: Quantity, time_ms: int, value: float, every_ms: float) -> None:
        """One reading, in the order of time; quantities of one moment one after the other."""
        self.hear(PLACES[quantity], time_ms, value, every_ms)

    def hear(self, place: int, time_ms: int, value: float, every_ms: float) -> None:
        """``take``, by the quantity's place."""
        if time_ms != self._moment_ms:
            if time_ms < self._moment_ms:
                return
            self._close(every_ms)
            self._moment_ms = time_ms
        habit = self._habits[place]
        if habit.last_ms < 0:
            self._begun_ms = time_ms
        if time_ms > habit.last_ms:
            habit.take(time_ms, value, every_ms)
            if not habit.same:
                self._moved_ms = time_ms

    @property
    def moves(self) -> bool:
        """Whether one of them moved at the newest moment."""
        return self._moved_ms == self._moment_ms

    def _close(self, every_ms: float) -> None:
        """A moment is complete: learn how long all stood still together."""
        run = 0 if self.moves else self._least_same(every_ms)
        if run <= self._run:
            self._together.learn(self._run)
            if self._run:
                most_ms = AT_MOST * self._longest_ms + AT_MOST_MS
                self._longest_ms = max(LONGEST_KEPT * self._longest_ms, min(self._run * every_ms, most_ms))
        self._run = run

    def _least_same(self, every_ms: float) -> int:
        """How often all of them have said the same again."""
        until_ms, least = max(0.0, self._moment_ms - GAP_READINGS * every_ms), -1
        for place in range(FOLLOWED):
            habit = self._habits[place]
            if habit.last_ms >= until_ms and (least < 0 or habit.same < least):
                least = habit.same
        return max(least, 0)

    def _live(self, every_ms: float) -> list[Habit]:
        until_ms = max(0.0, self._moment_ms - GAP_READINGS * every_ms)
        return [habit for habit in self._habits if habit.last_ms >= until_ms]

    def nats(self, every_ms: float) -> float:
        """Evidence that the probe stands still: minus the log of the odds that a live one says the same so long."""
        habits = self._live(every_ms)
        run = self._least_same(every_ms)
        if run < 2 or len(habits) < 2 or self._moment_ms - self._begun_ms < KNOWN_MS:
            return 0.0
        single = [habit.odds() for habit in habits]
        coarse = min(odds[bin_of(run + 1)] for odds in single) > COARSE
        if run * every_ms <= (LONGER_COARSE if coarse else LONGER) * self._longest_ms:
            return 0.0
        nats, together = 0.0, self._together
        for place in range(bin_of(run) + 1):
            repeats = min(run, (2 << place) - 1) - (1 << place) + 1 if place < BINS - 1 else run - (1 << place) + 1
            chance = 1.0
            for odds in single:
                chance *= odds[place]
            stays, goes = together.stays[place], together.goes[place]
            chance = (stays + WEIGHT * chance) / (stays + goes + WEIGHT)
            nats -= repeats * log(max(chance, LEAST_ODDS**2))
        return nats

    def still_since_ms(self, every_ms: float) -> int:
        """Since when all of them have said the same; -1 where none is followed."""
        until_ms, since_ms = max(0.0, self._moment_ms - GAP_READINGS * every_ms), -1
        for place in range(FOLLOWED):
            habit = self._habits[place]
            if habit.last_ms >= until_ms:
                since_ms = max(since_ms, habit.since_ms)
        return since_ms
