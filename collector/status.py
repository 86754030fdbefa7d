"""How each port is, as the workers tell it, and the report the service is given of it.

Must not do: send anything (``reporter.py`` does), or call a port fine because nothing was heard of it.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from api.domain.reading import RawReading
from collector.clock import is_dated
from collector.drivers.base import Batch
from collector.stock import StockState

QUIET_AFTER_S = 30.0
QUIET_AFTER_BEATS = 3


class PortMood(StrEnum):
    """The states of a port: giving readings, open and quiet, not readable, closed by us."""

    READING = "reading"
    WAITING = "waiting"
    FAILING = "failing"
    STOPPED = "stopped"


@dataclass
class _Port:
    quiet_after_s: float
    mood: PortMood
    since_ms: int
    heard_s: float | None = None
    last_reading_ms: int | None = None
    readings: int = 0
    unreadable: int = 0
    last_unreadable: str = ""
    error: str = ""
    newest: dict[str, RawReading] = field(default_factory=dict)


class StatusBoard:
    """One line for each port, written by its worker, read by the reporter."""

    def __init__(
        self,
        now_ms: Callable[[], int],
        version: str,
        say: Callable[[str, str], None],
        monotonic_s: Callable[[], float] | None = None,
    ) -> None:
        self._now_ms, self._version, self._say = now_ms, version, say
        self._monotonic_s = monotonic_s or (lambda: now_ms() / 1000)
        self._started_ms = now_ms()
        self._ports: dict[str, _Port] = {}
        self._lock = threading.Lock()
        self.changed = threading.Event()

    def add(self, probe: str, every_s: float) -> None:
        """A port that is going to be read."""
        quiet_s = max(QUIET_AFTER_S, QUIET_AFTER_BEATS * every_s)
        self._ports[probe] = _Port(quiet_s, PortMood.WAITING, self._now_ms())

    def opened(self, probe: str) -> None:
        """The port is open; nothing has come yet."""
        with self._lock:
            self._ports[probe].heard_s = self._monotonic_s()
            self._turn(probe, PortMood.WAITING, "open, waiting for its first reading")

    def heard(self, probe: str, batch: Batch) -> None:
        """The port gave something."""
        with self._lock:
            port = self._ports[probe]
            port.unreadable += batch.unreadable
            port.last_unreadable = batch.last_unreadable or port.last_unreadable
            if batch.readings:
                port.readings += len(batch.readings)
                newest_ms = batch.readings[-1].time_ms
                port.last_reading_ms = newest_ms if is_dated(newest_ms) else port.last_reading_ms
                port.newest.update({str(reading.quantity): reading for reading in batch.readings})
                port.heard_s = self._monotonic_s()
                self._turn(probe, PortMood.READING, "reading")

    def failing(self, probe: str, error: str) -> None:
        """The port cannot be read, and why."""
        with self._lock:
            self._turn(probe, PortMood.FAILING, f"failing: {error}", error)

    def stopped(self, probe: str) -> None:
        """The port was closed by ourselves, or its source has ended."""
        with self._lock:
            self._turn(probe, PortMood.STOPPED, "stopped")

    def tick(self) -> None:
        """A port that has given nothing for three of its beats is waiting, not reading."""
        now_s = self._monotonic_s()
        with self._lock:
            for probe, port in self._ports.items():
                if port.mood is PortMood.READING and now_s - (port.heard_s or 0.0) > port.quiet_after_s:
                    self._turn(probe, PortMood.WAITING, f"open, but no reading for {port.quiet_after_s:.0f} s")

    def _turn(self, probe: str, mood: PortMood, words: str, error: str = "") -> None:
        port = self._ports[probe]
        if port.mood is not mood:
            port.since_ms = self._now_ms()
        if port.mood is not mood or port.error != error:
            port.mood, port.error = mood, error
            self._say(probe, words)
            self.changed.set()

    def moods(self) -> dict[str, PortMood]:
        """The state of each port."""
        with self._lock:
            return {probe: port.mood for probe, port in self._ports.items()}

    def newest(self) -> dict[str, list[RawReading]]:
        """The newest reading of each quantity, by port."""
        with self._lock:
            return {probe: list(port.newest.values()) for probe, port in self._ports.items()}

    def document(self, spool: StockState) -> dict[str, Any]:
        """The report, as it goes to the service."""
        with self._lock:
            ports = [
                {
                    "probe": probe,
                    "state": str(port.mood),
                    "since_ms": port.since_ms,
                    "last_reading_ms": port.last_reading_ms,
                    "readings": port.readings,
                    "unreadable": port.unreadable,
                    "last_unreadable": port.last_unreadable[:300],
                    "error": port.error[:300],
                }
                for probe, port in self._ports.items()
            ]
        return {
            "time_ms": self._now_ms(),
            "started_ms": self._started_ms,
            "version": self._version,
            "spool": {
                "waiting": spool.waiting,
                "oldest_ms": spool.oldest_ms,
                "dropped": spool.dropped,
                "refused": spool.refused,
                "trouble": spool.trouble,
            },
            "ports": ports,
        }
