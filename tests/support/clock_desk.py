"""A collector's desk on a made-up computer: its clock, its stamps and what waits for a time. Must not do: test."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from collector.held import Held, listed, stamp_mark
from collector.spool import NAME, Spool
from collector.stock import Stock
from tests.support.made_up_computer import Computer

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS


class Desk:
    """A collector's spool and door on a made-up computer; readings are numbered by their value."""

    def __init__(self, folder: Path, computer: Computer, probes: int = 1) -> None:
        self.folder, self.computer, self.said = folder, computer, 0
        self.probes = [f"p{number}" for number in range(probes)]
        self.open()

    def open(self) -> None:
        """The collector starts."""
        self.spool = Spool(self.folder / NAME, gather_s=0.0)
        self.held = Held(self.spool, self.computer.hands())
        self.stampers = {probe: self.held.stamper(probe) for probe in self.probes}
        self.settle()

    def close(self) -> None:
        """The collector ends."""
        self.spool.close()

    def restart(self) -> None:
        """The collector ends and starts again."""
        self.close()
        self.open()

    def settle(self) -> None:
        """What the collector does every second."""
        while self.held.settle():
            pass

    def say(self, probe: str = "p0", lines: int = 1) -> list[int]:
        """A probe says some lines at once; their stamps."""
        stamper, readings = self.stampers[probe], []
        for _ in range(lines):
            time_ms = stamper.stamp(self.held.clock.now_ms())
            readings.append(RawReading(probe, Quantity.LEVEL, time_ms, float(self.said), "cm"))
            self.said += 1
        mark = stamper.mark()
        assert self.held.keep(readings, [] if mark is None else [stamp_mark(probe, mark)])
        return [reading.time_ms for reading in readings]

    def sent(self) -> list[RawReading]:
        """What would go to the service, in the order it was put into the spool."""
        found: list[RawReading] = self.spool.ask(_all)
        return found

    def aside(self) -> list[float]:
        """Values of the readings that wait for a date or have none for ever."""
        return [float(line.split(",")[4]) for line in listed(self.folder / NAME)]


def _all(stock: Stock) -> list[RawReading]:
    assert stock.file is not None
    return [reading for _, reading in stock.file.oldest(0, 10**6)]


@pytest.fixture
def computer() -> Computer:
    """A computer that has run for a while and is right."""
    return Computer()


@pytest.fixture
def desk(tmp_path: Path, computer: Computer) -> Iterator[Desk]:
    """A collector on it."""
    one = Desk(tmp_path, computer)
    yield one
    one.close()
