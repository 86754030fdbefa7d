"""Drivers of MQTT topics as a room file would make them, with a bookmark that is kept as the spool keeps it.

Must not do: read a room file; the keys are given as words.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.tables import Place, take
from api.domain.tank import Probe, Value
from collector.clock import now_ms
from collector.drivers.base import Batch, Surroundings
from collector.drivers.mqtt_topics import MqttTopics

NOWHERE = Place("room.toml", "", "probe")


def value(quantity: Quantity = Quantity.TEMPERATURE, unit: str = "Cel", **keys: Any) -> Value:
    """A value with the driver's own keys."""
    return Value(quantity, unit, options=take(keys, MqttTopics.VALUE_KEYS, NOWHERE))


class Listening:
    """One probe over its lives: ``driver`` is the present one, ``kept`` what is on the disk, with the bookmark."""

    def __init__(self, folder: Path, port: int, *values: Value, now: Callable[[], int] = now_ms, **keys: Any) -> None:
        table = {"topic": "t/1", "port": port, "host": "127.0.0.1", **keys}
        self._options = take(table, MqttTopics.KEYS, NOWHERE)
        self._probe = Probe("p1", "mqtt_topics", every_s=1.0, values=values or (value(),))
        MqttTopics.check(self._probe, self._options, NOWHERE)
        self._marks: dict[str, str] = {}
        self._around = Surroundings(now, time.monotonic, time.sleep, self._marks.get, folder)
        self.kept: list[RawReading] = []
        self.unreadable = 0
        self.reasons: list[str] = []
        self.driver = self._make()

    def _make(self) -> MqttTopics:
        return MqttTopics(self._probe, self._options, self._around)

    def open(self) -> None:
        """A new life, as the worker begins one."""
        self.driver.close()
        self.driver = self._make()
        self.driver.open()

    def keep(self, batch: Batch) -> None:
        """Put a batch on the disk, with its bookmark."""
        self.kept += batch.readings
        self.unreadable += batch.unreadable
        if batch.last_unreadable:
            self.reasons.append(batch.last_unreadable)
        if batch.bookmark is not None:
            self._marks[batch.bookmark[0]] = batch.bookmark[1]

    def listen(self, for_s: float = 0.3, until: int = 0) -> list[float]:
        """Read, keep and acknowledge for a while, or until so many are kept; the values of that while."""
        before = len(self.kept)
        end_s = time.monotonic() + (10.0 if until else for_s)
        while time.monotonic() < end_s and not (until and len(self.kept) - before >= until):
            batch = self.driver.read(0.05)
            self.keep(batch)
            self.driver.acknowledge(batch)
        return [reading.value for reading in self.kept[before:]]
