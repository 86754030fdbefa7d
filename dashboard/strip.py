"""The night strip: one tank's last 24 hours as a band of runs, with ticks on the room's clock and a sentence.

Must not do: judge; it draws the bands it is given, and what it was not given is "not known".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from api.domain.band import Band
from api.domain.words import duration
from api.services.answers import StripCell
from dashboard.clock import Clock
from dashboard.words import BAND_WORDS, joined

CELL_MS = 300_000
CELLS = 288
TICK_HOURS = 6
EDGE_PERCENT = 4.0
TOLD = (Band.DANGER, Band.OUTSIDE, Band.UNKNOWN, Band.TOLERABLE, Band.TARGET)


@dataclass(frozen=True, slots=True)
class Run:
    """Neighbouring cells of one band; ``x`` and ``width`` in percent of the strip."""

    band: Band
    x: float
    width: float
    title: str


@dataclass(frozen=True, slots=True)
class Tick:
    """A full hour on the room's clock; ``anchor`` keeps its text inside the strip."""

    x: float
    text: str
    midnight: bool
    anchor: str


@dataclass(frozen=True, slots=True)
class Strip:
    """All there is to draw, and the same in words."""

    runs: tuple[Run, ...]
    ticks: tuple[Tick, ...]
    summary: str


def strip_of(cells: Sequence[StripCell], clock: Clock, present: Band = Band.UNKNOWN) -> Strip:
    """The strip that ends with the present cell.

    ``present`` is the tank's band at this moment; it stands for a cell that has only just begun and holds no reading.
    """
    end = (clock.now_ms // CELL_MS + 1) * CELL_MS
    start = end - CELLS * CELL_MS
    bands = [Band.UNKNOWN] * CELLS
    for cell in cells:
        index = (cell.start_ms - start) // CELL_MS
        if 0 <= index < CELLS:
            bands[index] = cell.band
    if bands[-1] is Band.UNKNOWN:
        bands[-1] = present
    runs = []
    first = 0
    for band, group in groupby(bands):
        length = len(list(group))
        begin, until = start + first * CELL_MS, min(start + (first + length) * CELL_MS, clock.now_ms)
        title = f"{BAND_WORDS[band]}, {clock.moment(begin).text} to {clock.moment(until).text}"
        runs.append(Run(band, _percent(first), _percent(length), title))
        first += length
    return Strip(tuple(runs), _ticks(start, end, clock), _summary(bands))


def _percent(cells: int) -> float:
    return round(cells * 100 / CELLS, 3)


def _ticks(start: int, end: int, clock: Clock) -> tuple[Tick, ...]:
    ticks = []
    for time_ms in clock.full_hours(start, end, TICK_HOURS):
        x = round((time_ms - start) * 100 / (end - start), 3)
        anchor = "start" if x < EDGE_PERCENT else "end" if x > 100 - EDGE_PERCENT else "middle"
        local = clock.local(time_ms)
        ticks.append(Tick(x, f"{local:%H:%M}", local.hour == 0, anchor))
    return tuple(ticks)


def _summary(bands: Sequence[Band]) -> str:
    parts = [f"{BAND_WORDS[b]} {duration(n * CELL_MS / 1000)}" for b in TOLD if (n := bands.count(b))]
    return f"Last 24 hours: {joined(parts)}."
