"""The contract of a driver: how one kind of source is read without losing or doubling what it says.

A driver knows its source and nothing of the spool or the service. It must not: judge a value, convert a unit, or keep
a reading only in its own memory after ``read`` has returned it.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, ClassVar

from api.domain.reading import RawReading
from api.domain.tables import Key, Place
from api.domain.tank import Probe, RoomFile
from collector.clock import Stamper


@dataclass(frozen=True, slots=True)
class Batch:
    """What one ``read`` brought.

    ``bookmark`` (source, position) is committed in the same transaction as the readings. ``acks`` is for the driver's
    own ``acknowledge``. ``last`` says that the source has come to its end and will never give more.
    """

    readings: tuple[RawReading, ...] = ()
    unreadable: int = 0
    last_unreadable: str = ""
    note: str = ""
    bookmark: tuple[str, str] | None = None
    acks: int = 0
    last: bool = False

    @property
    def empty(self) -> bool:
        """Nothing in it that has to be kept, counted or acknowledged."""
        return not (self.readings or self.unreadable or self.bookmark or self.acks or self.last)


EMPTY = Batch()


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What a driver is given of the world, so that tests can hand it another one."""

    now_ms: Callable[[], int]
    monotonic: Callable[[], float]
    pause: Callable[[float], object]
    bookmark: Callable[[str], str | None]
    folder: Path
    stamper: Stamper = field(default_factory=Stamper)
    trial: bool = False
    """Only a look, beside a collector that may be running: disturb nobody, leave nothing behind."""


class Driver(ABC):
    """One source of readings. Every call comes from the same thread, its port's worker.

    Life: ``__init__`` (no I/O), then ``open``, ``read`` and ``acknowledge`` as often as there is something, ``close``.
    After any error the worker closes it, waits, makes a new one and opens that.

    To add a kind of probe: one file here with one subclass, one line in ``table.py``; the contract test in
    ``tests/collector/test_driver_contract.py`` then runs over it.
    """

    KEYS: ClassVar[tuple[Key, ...]] = ()
    """The keys of ``[[probe]]`` that only this driver reads."""
    VALUE_KEYS: ClassVar[tuple[Key, ...]] = ()
    """The keys of ``[[probe.value]]`` that only this driver reads, from ``Value.options``."""
    SHARING: ClassVar[str] = ""
    """What to write so that probes can share a port, for the person whose probes cannot as they are."""
    SOURCE_KEEPS: ClassVar[bool] = False
    """True when the source will give an unacknowledged batch again: then a full spool makes it wait, not forget."""

    def __init__(self, probe: Probe, options: Mapping[str, Any], around: Surroundings) -> None:
        self.probe, self.options, self.around = probe, options, around

    @classmethod
    def check(cls, probe: Probe, options: Mapping[str, Any], place: Place) -> None:
        """Check what one key alone cannot show, without touching the source.

        Raises RoomFileError (by ``place.wrong``) naming the key and what to write instead.
        """
        return None

    @classmethod
    def port(cls, probe: Probe, options: Mapping[str, Any], folder: Path) -> str:
        """The name of the one thing in the world that only one probe may read; empty when it can be shared.

        ``folder`` is the room file's, where relative names begin.
        """
        return ""

    @classmethod
    def shared(cls, options: Mapping[str, Any], folder: Path) -> tuple[str, str]:
        """The one thing in the world that several probes may read together, and what all of them must agree on.

        Both empty when there is no such thing. ``collector/drivers/bus.py`` is for taking turns on it.
        """
        return "", ""

    @classmethod
    def told_apart_by(cls, probe: Probe, options: Mapping[str, Any]) -> str:
        """What must be this probe's alone among those that share its port, in words; empty when nothing must be."""
        return ""

    @classmethod
    def filled(cls, options: Mapping[str, Any], room: RoomFile, place: Place) -> Mapping[str, Any]:
        """The keys of ``[[probe]]``, with those left out that the rest of the room file gives.

        Raises RoomFileError.
        """
        return options

    @abstractmethod
    def open(self) -> None:
        """Open the source and go to where reading left off.

        Raises PortTrouble when it is not there, not allowed, or in use. Must not throw away what already waits there.
        """

    @abstractmethod
    def read(self, wait_s: float) -> Batch:
        """Bring what there is, waiting no longer than ``wait_s`` for something to come.

        An empty batch is a fine answer. Text that cannot be read is counted in the batch with its reason, never raised.
        Raises PortTrouble when the source has gone.
        """

    @abstractmethod
    def acknowledge(self, batch: Batch) -> None:
        """Called after the batch is committed to the disk: only now may the source forget it.

        Not called when the readings could only be held in memory. Raises PortTrouble when the source has gone.
        """

    @abstractmethod
    def close(self) -> None:
        """Let go of the source; may be called at any time, also twice, and never raises."""
