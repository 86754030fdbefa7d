"""How far an animal's own clock ran between two times: over the tanks it sat in, without holds, by winter's rate too.

All animals are asked for at once, tank by tank. Must not do: know what a molt is.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import lru_cache

import numpy as np

from api.molt.clock import DAY_MS, Clock
from api.molt.past import Past
from api.molt.species import Species
from api.molt.warmth import Warmth
from api.science.arrays import Floats

WINTER_RATE = 0.37
"""How fast the clock of a mature animal of a temperate species runs in winter: exp(-1), between a full stop and none.

Judgement on cambarus_winter (none molted in winter under constant summer light and temperature). [1]"""
WINTER_MONTHS = {True: (11, 3), False: (5, 9)}
"""First month of winter, and first month after it, north (True) and south of the equator. Judgement."""
NOWHERE = Warmth()


@dataclass(frozen=True, slots=True)
class Ran:
    """For each asked span: what the clock ran, slowed in winter if the species is, and without that; its variance.

    ``days`` it was free to run, ``known_d`` of them on record.
    """

    degree_days: Floats
    thermal: Floats
    variance: Floats
    days: Floats
    known_d: Floats


@dataclass(slots=True)
class Spans:
    """Spans to be asked for, piece by piece of one tank each."""

    water: Mapping[str, Warmth]
    north: bool = True
    _asked: int = 0
    _pieces: dict[tuple[str | None, str], list[tuple[int, int, int, float]]] = field(default_factory=dict)
    _species: dict[str, Species] = field(default_factory=dict)

    def ask(self, past: Past, start_ms: int, end_ms: int) -> int:
        """Put a span of an animal on the list; its number among the answers."""
        number = self._asked
        self._asked += 1
        self._species[past.species.name] = past.species
        simple = len(past.stays) == 1 and not past.holds and start_ms < end_ms
        whole: Iterable[tuple[str | None, int, int]] = ((past.stays[0].tank, start_ms, end_ms),) if simple else ()
        for tank, a_ms, b_ms in whole or _pieces(past, start_ms, end_ms):
            rows = self._pieces.setdefault((tank if tank in self.water else None, past.species.name), [])
            if past.species.winter:
                cut = _winters(a_ms, b_ms, self.north)
                rows.extend((number, a, b, WINTER_RATE if cold else 1.0) for a, b, cold in cut)
            else:
                rows.append((number, a_ms, b_ms, 1.0))
        return number

    def answer(self) -> Ran:
        """All spans, in the order they were asked for."""
        out = [np.zeros(self._asked) for _ in range(5)]
        for (tank, name), rows in self._pieces.items():
            number, start_ms, end_ms, weight = (np.array(column) for column in zip(*rows, strict=True))
            total, variance, known_d = clock_in(self.water, tank, self._species[name]).between(start_ms, end_ms)
            adds = (total * weight, total, variance, (end_ms - start_ms) / DAY_MS, known_d)
            for kept, add in zip(out, adds, strict=True):
                kept += np.bincount(number, add, minlength=self._asked)
        return Ran(*out)


def clock_in(water: Mapping[str, Warmth], tank: str | None, species: Species) -> Clock:
    """A species' molt clock in a tank; one whose temperature nobody knows runs as in usual water, very uncertain."""
    warmth = water.get(tank, NOWHERE) if tank is not None else NOWHERE
    return warmth.clock(species.curve, species.usual_c)


def _pieces(past: Past, start_ms: int, end_ms: int) -> Iterator[tuple[str | None, int, int]]:
    """The parts of a time in which the clock may run, by tank."""
    stays = past.stays
    ends: list[tuple[str | None, int, int]] = []
    if not stays:
        ends.append((None, start_ms, end_ms))
    else:
        # before the first stay it was somewhere: the first tank is the best guess there is
        ends += [
            (one.tank, start_ms if at == 0 else one.since_ms, end_ms if one.until_ms is None else one.until_ms)
            for at, one in enumerate(stays)
        ]
        ends[-1] = (ends[-1][0], ends[-1][1], end_ms)
    for tank, since_ms, until_ms in ends:
        for a_ms, b_ms in _free(past, max(since_ms, start_ms), min(until_ms, end_ms)):
            yield tank, a_ms, b_ms


def _free(past: Past, start_ms: int, end_ms: int) -> Iterator[tuple[int, int]]:
    """A time without the holds in it."""
    at_ms = start_ms
    for hold in past.holds:
        if hold.since_ms >= end_ms:
            break
        if hold.since_ms > at_ms:
            yield at_ms, hold.since_ms
        at_ms = max(at_ms, end_ms if hold.until_ms is None else hold.until_ms)
    if at_ms < end_ms:
        yield at_ms, end_ms


def _winters(start_ms: int, end_ms: int, north: bool) -> Iterator[tuple[int, int, bool]]:
    """A time cut where winter begins and ends; True: in winter."""
    at_ms = start_ms
    year = datetime.fromtimestamp(start_ms / 1000, UTC).year - 1
    while at_ms < end_ms:
        for edge_ms, cold_before in _edges(year, north):
            if at_ms < edge_ms:
                until_ms = min(edge_ms, end_ms)
                yield at_ms, until_ms, cold_before
                at_ms = until_ms
                if at_ms >= end_ms:
                    return
        year += 1


@lru_cache(maxsize=512)
def _edges(year: int, north: bool) -> tuple[tuple[int, bool], ...]:
    """Where winter begins and ends in a year; True: it was winter before the edge."""
    begins, over = WINTER_MONTHS[north]
    marks = sorted([(datetime(year, begins, 1, tzinfo=UTC), False), (datetime(year, over, 1, tzinfo=UTC), True)])
    return tuple((round(day.timestamp() * 1000), cold) for day, cold in marks)


def winter_days(start_ms: int, ahead_d: Floats, north: bool) -> Floats:
    """How many of the days ahead lie in winter, up to each. [d]"""
    cold = [
        (a, b)
        for a, b, winter in _winters(start_ms, start_ms + round(float(ahead_d[-1]) * DAY_MS) + 1, north)
        if winter
    ]
    out = np.zeros(ahead_d.size)
    for a_ms, b_ms in cold:
        out += np.clip(ahead_d - (a_ms - start_ms) / DAY_MS, 0.0, (b_ms - a_ms) / DAY_MS)
    return out
