"""Workers: one port's trouble, even a fault in its driver, stays its own; acknowledging comes after keeping."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import ClassVar

import pytest

from api.domain.tank import Probe
from collector.backoff import Backoff
from collector.config import CheckedProbe, CollectorConfig
from collector.drivers.base import EMPTY, Batch, Driver
from collector.errors import SpoolReason, SpoolTrouble
from collector.spool import Spool
from collector.status import PortMood, StatusBoard
from collector.worker import Worker
from tests.collector.conftest import Until, readings


class Faulty(Driver):
    """Raises what nobody expects on its first two lives, then reads."""

    lives: ClassVar[int] = 0
    closed: ClassVar[int] = 0

    def open(self) -> None:
        """One life more."""
        type(self).lives += 1

    def read(self, wait_s: float) -> Batch:
        """A fault, or one last reading."""
        if type(self).lives < 3:
            raise ZeroDivisionError("a driver's fault")
        return Batch(tuple(readings(1)), last=True)

    def acknowledge(self, batch: Batch) -> None:
        """Nothing to say."""

    def close(self) -> None:
        """Count it, and break the promise never to raise."""
        type(self).closed += 1
        raise ZeroDivisionError("a fault in closing")


class Remembering(Driver):
    """Offers one batch, and notes whether the spool had it when it was acknowledged."""

    SOURCE_KEEPS = True
    spool: ClassVar[Spool]
    kept_when_acknowledged: ClassVar[list[int]] = []

    def open(self) -> None:
        """Always open."""
        self.offered = False

    def read(self, wait_s: float) -> Batch:
        """The batch, then nothing."""
        if self.offered:
            self.around.pause(wait_s)
            return EMPTY
        self.offered = True
        return Batch(tuple(readings(3)), acks=1)

    def acknowledge(self, batch: Batch) -> None:
        """Look into the spool."""
        self.kept_when_acknowledged.append(self.spool.waiting())

    def close(self) -> None:
        """Nothing to close."""


def worker_for(driver: type[Driver], spool: Spool, folder: Path, stop: threading.Event) -> tuple[Worker, StatusBoard]:
    """A worker that hardly waits."""
    config = CollectorConfig(folder, folder, "http://127.0.0.1:1", 10.0, 200, ())
    board = StatusBoard(lambda: 0, "1", lambda matter, text: None)
    checked = CheckedProbe(Probe("p1", "x"), driver, {})
    return Worker(checked, config, spool, board, stop, Backoff(lambda low, high: 0.01)), board


def test_a_fault_in_a_driver_is_shown_and_tried_again(spool: Spool, tmp_path: Path) -> None:
    """Each broken life is closed, though even closing fails; the third one reads."""
    worker, board = worker_for(Faulty, spool, tmp_path, threading.Event())
    worker.start()
    assert worker.join(5.0)
    assert (Faulty.lives, Faulty.closed) == (3, 3)
    assert [reading for _, reading in spool.take(10).rows] == readings(1)
    assert board.moods() == {"p1": PortMood.STOPPED}


def test_acknowledged_after_the_commit_and_offered_until_the_spool_takes_it(
    spool: Spool, tmp_path: Path, until: Until, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A spool that refuses at first costs nothing."""
    refusals = [SpoolTrouble(SpoolReason.LIMIT, "the spool is full")]
    keep = spool.keep

    def keep_later(*given: object, **more: object) -> bool:
        if refusals:
            raise refusals.pop()
        return keep(*given, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(spool, "keep", keep_later)
    monkeypatch.setattr("collector.worker.WAIT_S", 0.05)
    Remembering.spool = spool
    stop = threading.Event()
    worker, _ = worker_for(Remembering, spool, tmp_path, stop)
    worker.start()
    until(lambda: Remembering.kept_when_acknowledged)
    stop.set()
    assert worker.join(5.0)
    assert Remembering.kept_when_acknowledged == [3]
