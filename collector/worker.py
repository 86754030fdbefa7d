"""One port's worker: opens it, reads it, keeps what it says, and starts again after whatever goes wrong.

Must not do: touch another port, or acknowledge a batch that is not on the disk.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence

from api.domain.errors import IntermoltError
from api.domain.reading import RawReading
from collector.backoff import Backoff
from collector.clock import Stamper, now_ms
from collector.config import CheckedProbe, CollectorConfig
from collector.drivers.base import Batch, Driver, Surroundings
from collector.errors import SpoolTrouble, Stopped
from collector.held import Held, stamp_mark
from collector.pulse import Pulse
from collector.spool import Spool
from collector.status import StatusBoard

WAIT_S = 1.0


class Worker:
    """A supervised thread for one probe."""

    def __init__(
        self,
        checked: CheckedProbe,
        config: CollectorConfig,
        spool: Spool,
        board: StatusBoard,
        stop: threading.Event,
        backoff: Backoff | None = None,
        hear: Callable[[Sequence[RawReading]], None] = lambda readings: None,
        held: Held | None = None,
    ) -> None:
        self._checked, self._spool, self._board, self._stop = checked, spool, board, stop
        self._backoff, self._hear, self._held = backoff or Backoff(), hear, held
        self.name, self.pulse = checked.probe.id, Pulse()
        # the stamper outlives a reopening, so that its times go on rising
        present, stamper = (now_ms, Stamper()) if held is None else (held.clock.now_ms, held.stamper(self.name))
        self._around = Surroundings(present, time.monotonic, stop.wait, spool.bookmark, config.folder, stamper)
        board.add(self.name, checked.probe.every_s)
        self._thread = threading.Thread(target=self._run, name=f"port {self.name}", daemon=True)

    def start(self) -> None:
        """Begin reading."""
        self._thread.start()

    def join(self, timeout_s: float) -> bool:
        """Wait for the end after ``stop`` was set; whether it came."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def late_s(self) -> float:
        """By how much the next turn is overdue. [s]"""
        return self.pulse.late_s(self._thread)

    def _run(self) -> None:
        ended = False
        while not ended and not self._stop.is_set():
            driver: Driver | None = None
            self.pulse.beat(WAIT_S)
            try:
                driver = self._checked.driver(self._checked.probe, self._checked.options, self._around)
                ended = self._read(driver)
            except Stopped:
                break
            except (IntermoltError, OSError) as error:
                self._board.failing(self.name, str(error))
            except Exception as error:  # noqa: BLE001 a driver's fault must be shown and must end only this attempt
                self._board.failing(self.name, f"fault in driver {self._checked.probe.driver}: {error!r}")
            finally:
                if driver is not None:
                    self._let_go(driver)
            if not ended:
                wait_s = self._backoff.next_s()
                self.pulse.beat(wait_s)
                self._stop.wait(wait_s)
        self.pulse.end()
        self._board.stopped(self.name)

    def _let_go(self, driver: Driver) -> None:
        try:
            driver.close()
        except Exception as error:  # noqa: BLE001 a fault in closing must not end the port's only thread
            self._board.failing(self.name, f"fault in driver {self._checked.probe.driver} while closing: {error!r}")

    def _read(self, driver: Driver) -> bool:
        """Read until told to stop; True when the source has come to its end."""
        driver.open()
        self._board.opened(self.name)
        while not self._stop.is_set():
            self.pulse.beat(WAIT_S)
            batch = driver.read(WAIT_S)
            if batch.empty:
                continue
            self._board.heard(self.name, batch)
            if batch.readings:
                self._backoff.reset()
                self._hear(batch.readings)
            if keep(self._spool, driver, batch, self._stop, self._held, self.pulse):
                driver.acknowledge(batch)
            if batch.last:
                return True
        return False


def keep(
    spool: Spool,
    driver: Driver,
    batch: Batch,
    stop: threading.Event,
    held: Held | None = None,
    pulse: Pulse | None = None,
) -> bool:
    """Hand a batch to the spool; True when it is on the disk. A source that keeps its readings is made to wait.

    Raises Stopped when told to stop meanwhile.
    """
    if not (batch.readings or batch.bookmark):
        return True
    marks = [batch.bookmark] if batch.bookmark is not None else []
    stamp_ms = driver.around.stamper.mark()
    if stamp_ms is not None:
        marks.append(stamp_mark(driver.probe.id, stamp_ms))
    while True:
        try:
            if held is not None:
                return held.keep(batch.readings, marks, source_keeps=driver.SOURCE_KEEPS)
            return spool.keep(batch.readings, batch.bookmark, source_keeps=driver.SOURCE_KEEPS)
        except SpoolTrouble as error:
            if pulse is not None:
                pulse.beat(WAIT_S)
            if stop.wait(WAIT_S):
                raise Stopped("told to stop while the spool took nothing") from error
