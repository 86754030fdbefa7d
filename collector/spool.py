"""The spool: every reading stays here, on the disk, until the service has it.

One writer thread owns the file; what many workers hand over at the same time goes to the disk in one commit.
Must not do: tell anyone that a reading is kept before the disk has it.
"""

from __future__ import annotations

import queue
import sqlite3
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from api.domain.reading import RawReading
from collector.clock import now_ms as present_ms
from collector.errors import SpoolReason, SpoolTrouble, Stopped
from collector.spoolfile import Refusal
from collector.stock import Stock, StockState, Taken

NAME = "spool.db"
GATHER_S = 0.05
GROUP_ROWS = 5000
RETRY_S = 5.0
DEAR_S, REST = 0.01, 10.0
"""After a failed commit that took longer the disk rests so many times as long: with much in memory it is dear. [s]"""


@dataclass(eq=False)
class _Job:
    done: threading.Event = field(default_factory=threading.Event)
    error: Exception | None = None
    result: Any = None


@dataclass(eq=False)
class _Keep(_Job):
    readings: Sequence[RawReading] = ()
    bookmark: tuple[str, str] | None = None
    source_keeps: bool = False


@dataclass(eq=False)
class _Finish(_Job):
    epoch: int = 0
    numbers: Sequence[int] = ()
    refusals: Sequence[Refusal] = ()


@dataclass(eq=False)
class _Ask(_Job):
    question: Callable[[Stock], Any] = Stock.waiting


class Spool:
    """Readings on their way, safe against kill and power loss; all calls may come from any thread."""

    def __init__(
        self,
        path: Path,
        max_mb: float = 2000.0,
        now_ms: Callable[[], int] = present_ms,
        gather_s: float = GATHER_S,
        monotonic_s: Callable[[], float] = time.monotonic,
        rest: float = REST,
    ) -> None:
        self._stock = Stock(path, int(max_mb * 1e6), now_ms, monotonic_s)
        self._gather_s = gather_s
        self._jobs: queue.SimpleQueue[_Job | None] = queue.SimpleQueue()
        self._closed = threading.Event()
        self._closing = threading.Lock()
        self.arrived = threading.Event()
        self.lost = 0
        self._rest, self._rests_until_s = rest, float("-inf")
        self._asked, self._asked_s = _Ask(), float("-inf")
        self._asked.done.set()
        try:
            self._stock.open()
        except (sqlite3.Error, OSError) as error:
            self._stock.hold([], error)
        self._thread = threading.Thread(target=self._run, name="spool", daemon=True)
        self._thread.start()

    def keep(
        self, readings: Sequence[RawReading], bookmark: tuple[str, str] | None = None, *, source_keeps: bool = False
    ) -> bool:
        """Wait until the readings are on the disk: True; or, while the disk takes nothing, in memory: False.

        Raises SpoolTrouble when they cannot be kept and their source still has them (``source_keeps``), and Stopped
        after ``close``.
        """
        return bool(self._do(_Keep(readings=readings, bookmark=bookmark, source_keeps=source_keeps)))

    def take(self, count: int) -> Taken:
        """Up to ``count`` readings: what came just now, then the oldest; they stay until ``finish``."""
        found: Taken = self._do(_Ask(question=lambda stock: stock.take(count)))
        if not found.rows:
            self.arrived.clear()
            found = self._do(_Ask(question=lambda stock: stock.take(count)))
        return found

    def finish(self, taken: Taken, numbers: Sequence[int], refusals: Sequence[Refusal] = ()) -> None:
        """The service has these of the readings taken; the refused are set aside with their reasons."""
        self._do(_Finish(epoch=taken.epoch, numbers=numbers, refusals=refusals))

    def defer(self, taken: Taken, numbers: Sequence[int], why: str) -> None:
        """The service will have these of the readings taken later; they stay and are offered again."""
        self.ask(lambda stock: stock.defer(taken.epoch, numbers, why))

    def bookmark(self, source: str) -> str | None:
        """How far a source was read, as committed with its last batch."""
        found: str | None = self._do(_Ask(question=lambda stock: stock.file.bookmark(source) if stock.file else None))
        return found

    def ask(self, question: Callable[[Stock], Any]) -> Any:
        """What the stock answers, in the writer's own thread, between two commits.

        Raises SpoolTrouble when the disk cannot be read or written, and Stopped after ``close``.
        """
        return self._do(_Ask(question=question))

    def waiting(self) -> int:
        """Readings that the service does not have yet."""
        found: int = self._do(_Ask(question=Stock.waiting))
        return found

    def state(self) -> StockState:
        """Figures for the status report."""
        found: StockState = self._do(_Ask(question=Stock.state))
        return found

    def disk_trouble(self) -> str:
        """Why the disk takes nothing; empty when it took what came last."""
        found: str | None = self._do(_Ask(question=lambda stock: stock.disk_trouble))
        return f"the disk takes nothing ({found})" if found else ""

    def late_s(self) -> float:
        """For how long the writer has owed an answer; a disk that takes nothing does not keep it from answering. [s]"""
        now_s = time.monotonic()
        if self._asked.done.is_set():
            self._asked, self._asked_s = _Ask(), now_s
            self._jobs.put(self._asked)
        return now_s - self._asked_s

    def close(self, timeout_s: float | None = None) -> None:
        """Write what was handed over, then close the file; safe to call twice."""
        with self._closing:
            if not self._closed.is_set():
                self._closed.set()
                self._jobs.put(None)
        self._thread.join(timeout_s)

    def _do(self, job: _Job) -> Any:
        with self._closing:
            if self._closed.is_set():
                raise Stopped("the spool is closed")
            self._jobs.put(job)
        job.done.wait()
        if job.error is not None:
            raise job.error
        return job.result

    def _run(self) -> None:
        running = True
        while running:
            group, running = self._gather()
            try:
                self._write([job for job in group if not isinstance(job, _Ask)])
                for ask in group:
                    if isinstance(ask, _Ask):
                        self._answer(ask)
            except Exception as error:  # noqa: BLE001 a fault of ours must reach who asked, not end the only writer
                for job in group:
                    job.error = job.error or error
                    job.done.set()
        self.lost = len(self._stock.held)
        self._stock.close()

    def _gather(self) -> tuple[list[_Job], bool]:
        """Jobs that came close together; False with them when ``close`` was called."""
        group: list[_Job] = []
        rows, end_s = 0, None
        while rows < GROUP_ROWS:
            try:
                wait_s = RETRY_S if end_s is None else max(0.0, end_s - time.monotonic())
                job = self._jobs.get(timeout=wait_s)
            except queue.Empty:
                break
            if job is None:
                return group, False
            group.append(job)
            if not isinstance(job, _Keep):
                break
            rows += len(job.readings)
            end_s = end_s if end_s is not None else time.monotonic() + self._gather_s
        return group, True

    def _write(self, group: Sequence[_Job]) -> None:
        stock = self._stock
        if not group and stock.disk_trouble is None:
            return
        for job in group:
            if isinstance(job, _Finish):
                stock.finish(job.epoch, job.numbers, job.refusals)
        keeps = [job for job in group if isinstance(job, _Keep) and not self._must_wait(job)]
        began_s = time.monotonic()
        try:
            if stock.disk_trouble is not None and began_s < self._rests_until_s:
                raise OSError(stock.disk_trouble)
            self._rests_until_s = float("-inf")
            self._commit(keeps)
            for keep in keeps:
                keep.result = True
        except (sqlite3.Error, OSError) as error:
            self._hold(keeps, error)
            took_s = time.monotonic() - began_s
            if took_s > DEAR_S:
                self._rests_until_s = began_s + took_s + min(RETRY_S, self._rest * took_s)
        if keeps or stock.held:
            self.arrived.set()
        for job in group:
            job.done.set()

    def _must_wait(self, job: _Keep) -> bool:
        if job.source_keeps and job.readings and self._stock.nearly_full():
            job.error = SpoolTrouble(SpoolReason.LIMIT, "the spool is full; waiting for the service to take some")
        return job.error is not None

    def _commit(self, keeps: Sequence[_Keep]) -> None:
        readings = [reading for keep in keeps for reading in keep.readings]
        bookmarks = [keep.bookmark for keep in keeps if keep.bookmark is not None]
        try:
            self._stock.commit(readings, bookmarks)
        except sqlite3.Error as error:
            if not self._stock.recover(error):
                raise
            self._stock.commit(readings, bookmarks)
        if self._stock.file is not None and not keeps:
            self._stock.file.give_back()

    def _hold(self, keeps: Sequence[_Keep], error: Exception) -> None:
        mine: list[RawReading] = []
        for keep in keeps:
            if keep.source_keeps:
                keep.error = SpoolTrouble(SpoolReason.DISK, f"the disk takes nothing: {error}")
            else:
                mine.extend(keep.readings)
                keep.result = False
        self._stock.hold(mine, error)

    def _answer(self, ask: _Ask) -> None:
        try:
            ask.result = ask.question(self._stock)
        except sqlite3.Error as error:
            try:
                if not self._stock.recover(error):
                    raise
                ask.result = ask.question(self._stock)
            except (sqlite3.Error, OSError) as again:
                self._stock.hold([], again)
                ask.error = SpoolTrouble(SpoolReason.DISK, f"the disk cannot be read: {again}")
        except OSError as error:
            ask.error = SpoolTrouble(SpoolReason.DISK, f"the disk cannot be read: {error}")
        ask.done.set()
