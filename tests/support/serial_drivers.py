"""Drivers of text lines as a room file would make them, and all they say in a short while.

Must not do: read a room file; the keys are given as words.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.tables import Place, take
from api.domain.tank import Probe, Value
from collector.clock import now_ms
from collector.drivers.base import Batch, Driver, Surroundings
from collector.drivers.serial_lines import SerialLines

TEMPERATURE = (Value(Quantity.TEMPERATURE, "Cel", field=1),)
NOWHERE = Place("room.toml", "", "probe")


def lines_of(
    folder: Path,
    probe: str = "p1",
    values: Sequence[Value] = TEMPERATURE,
    every_s: float = 60.0,
    monotonic: Callable[[], float] = time.monotonic,
    pause: Callable[[float], object] = time.sleep,
    **keys: Any,
) -> SerialLines:
    """A probe that speaks lines on ``port``, with the keys of its table."""
    made = Probe(probe, "serial_lines", every_s=every_s, values=tuple(values))
    options = take({"port": "port", **keys}, SerialLines.KEYS, NOWHERE)
    SerialLines.check(made, options, NOWHERE)
    return SerialLines(made, options, Surroundings(now_ms, monotonic, pause, lambda source: None, folder))


def all_said(driver: Driver, for_s: float = 0.15) -> Batch:
    """All batches of a short while as one; the reasons of what was unreadable are joined."""
    readings: list[RawReading] = []
    reasons: list[str] = []
    unreadable, acks = 0, 0
    end_s = time.monotonic() + for_s
    while (left_s := end_s - time.monotonic()) > 0:
        batch = driver.read(left_s)
        readings += batch.readings
        unreadable, acks = unreadable + batch.unreadable, acks + batch.acks
        if batch.last_unreadable:
            reasons.append(batch.last_unreadable)
    return Batch(tuple(readings), unreadable, " | ".join(reasons), acks=acks)


def said(driver: Driver, for_s: float = 0.15) -> list[float]:
    """The values of a short while."""
    return [reading.value for reading in all_said(driver, for_s).readings]
