"""What reading a whole file would give, before anything is kept: refusals, times that go back, units that seem mixed.

Must not do: refuse a row for a doubt; a doubt is said.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from api.domain.quantity import Quantity
from api.intake.block import Block, RefusedRow, Series
from api.intake.blocks import blocks
from api.intake.recipe import Recipe
from api.science.unit_doubts import doubt
from api.science.unit_labels import compact

HOUR_MS, HALF_DAY_MS, MOST_HALVES = 3_600_000, 43_200_000, 100
MOST_BYTES, MOST_ROWS = 256 * 1024 * 1024, 20_000_000
_SEEN_AS = {Quantity.TEMPERATURE: "°", Quantity.OXYGEN: "%", Quantity.CONDUCTIVITY: "ec"}
"""A label that says the same doubt as a jump between units does."""


@dataclass(slots=True)
class Overview:
    """Counts over the rows read, the first refusals, and what is odd, in words."""

    rows: int = 0
    readings: int = 0
    refusals: int = 0
    first: list[RefusedRow] = field(default_factory=list)
    back: int = 0
    back_line: int = 0
    share: float = 0.0
    halves: set[int] = field(default_factory=set)
    doubts: list[str] = field(default_factory=list)
    last: dict[tuple[str, str, str], tuple[int, float]] = field(default_factory=dict)

    def take(self, block: Block, *, falling: bool) -> None:
        """Count a block in."""
        self.rows += block.rows
        self.share = block.share
        self.refusals += len(block.refused)
        self.first += block.refused[: 3 - len(self.first)] if len(self.first) < 3 else ()
        turned: set[int] = set()
        for one in block.series:
            self.readings += len(one.values)
            key = (one.probe, str(one.quantity), one.unit)
            time_ms, value = self.last.get(key, (int(one.times_ms[0]), float(one.values[0])))
            times, values = np.concatenate(([time_ms], one.times_ms)), np.concatenate(([value], one.values))
            steps = np.diff(times)
            back = np.flatnonzero(steps > 0 if falling else steps < 0)
            turned.update(one.lines[back].tolist())
            half = back[(steps[back] >= -HALF_DAY_MS) & (steps[back] <= HOUR_MS - HALF_DAY_MS)]
            self.halves.update(one.lines[half[:MOST_HALVES]].tolist())
            self._jump(one, values)
            self.last[key] = int(times[-1]), float(values[-1])
        if turned:
            self.back_line = self.back_line or min(turned)
            self.back += len(turned)

    def _jump(self, one: Series, values: NDArray[np.float64]) -> None:
        rows = _jumps(one.quantity, values)
        against = doubt(one.quantity, compact(_SEEN_AS[one.quantity])) if len(rows) else None
        if against is None or any(f"{one.quantity} of {one.probe} " in told for told in self.doubts):
            return
        at = int(rows[0])
        self.doubts.append(
            f"doubt: {one.quantity} of {one.probe} goes from {values[at]:g} to {values[at + 1]:g} in line"
            f" {one.lines[at]}, as when the unit changes within the file; all is read as {one.unit} ({against.why});"
            " if it did change, part the file there"
        )  # fmt: skip


def _jumps(quantity: Quantity, values: NDArray[np.float64]) -> NDArray[np.int64]:
    """After which values the next is about what it would be in another unit."""
    low, high = np.minimum(values[:-1], values[1:]), np.maximum(values[:-1], values[1:])
    if quantity is Quantity.TEMPERATURE:
        found = (np.abs(high - (1.8 * low + 32.0)) <= 1.5) & (high - low >= 20.0) & (low > 0.0)
        found |= np.abs(high - low - 273.15) <= 1.5
    elif quantity is Quantity.OXYGEN:
        found = (low > 1.0) & (low < 20.0) & (high > 40.0) & (high <= 16.0 * low)
    elif quantity is Quantity.CONDUCTIVITY:
        found = (low > 0.0) & (high >= 900.0 * low) & (high <= 1100.0 * low)
    else:
        return np.zeros(0, np.int64)
    return np.flatnonzero(found)


def overview(source: Path, recipe: Recipe) -> Overview:
    """Read a file as an import would, the first 256 MB or 20 million rows of it."""
    found = Overview()
    size = max(1, source.stat().st_size)
    for block in blocks(source, recipe):
        found.take(block, falling=recipe.time.falling)
        if found.share * size >= MOST_BYTES or found.rows >= MOST_ROWS:
            break
    return found


def words(found: Overview, *, falling: bool) -> list[str]:
    """What an overview says."""
    part = (
        "" if found.share >= 1.0 else f" in the first {found.share:.0%} of the file, which is what was looked through"
    )
    out = [f"{some(found.readings, 'reading')} in {some(found.rows, 'row')}{part}"]
    if found.refusals:
        first = "; ".join(f"line {one.line}: {one.reason}" for one in found.first)
        more = "; ..." if found.refusals > len(found.first) else ""
        out.append(f"not taken: {some(found.refusals, 'row')} or cells ({first}{more})")
    if found.back:
        out.append(f"times go back in {some(found.back, 'row')} (first in line {found.back_line}); all are taken")
    if found.halves and not falling:
        out.append(
            f"doubt: times go back by almost twelve hours (first in line {min(found.halves)}), as on a 12-hour clock"
            " without AM and PM; if it is one, export the file with a 24-hour clock"
        )
    return out + found.doubts


def some(count: int, noun: str) -> str:
    """A count with its noun."""
    return f"{count:,} {noun}{'' if count == 1 else 's'}"
