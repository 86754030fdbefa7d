"""The one writer of the embedded database: a thread that takes waiting work together into one transaction.

Must not do: answer before the commit is on disk, or let one failing piece of work spoil another.
"""

from __future__ import annotations

import queue
import sqlite3
import threading
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any

from api.storage.base import StoreUnavailable

MOST_TOGETHER = 64


class Job:
    """A piece of work, its future, and what to call once its transaction is settled unless the work raised."""

    __slots__ = ("error", "future", "result", "settle", "work")

    def __init__(self, work: Callable[[], Any], settle: Callable[[bool], None] | None) -> None:
        self.work, self.settle = work, settle
        self.future: Future[Any] = Future()
        self.result: Any = None
        self.error: BaseException | None = None


class Writer:
    """Owns the write connection; every write of the process goes through ``submit``."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self.connection = connection
        self._queue: queue.SimpleQueue[Job | None] = queue.SimpleQueue()
        self._closed = False
        self._door = threading.Lock()
        self._thread = threading.Thread(target=self._run, name="store-writer", daemon=True)
        self._thread.start()

    def submit(self, work: Callable[[], Any], settle: Callable[[bool], None] | None = None) -> Future[Any]:
        """Queue work; the future ends after the commit."""
        job = Job(work, settle)
        with self._door:
            if not self._closed:
                self._queue.put(job)
                return job.future
        job.future.set_exception(StoreUnavailable("the store is closed"))
        return job.future

    def close(self) -> None:
        """Finish what waits, then stop."""
        with self._door:
            self._closed = True
            self._queue.put(None)
        self._thread.join(timeout=10)

    def _run(self) -> None:
        while True:
            job = self._queue.get()
            if job is None:
                return
            batch = [job]
            last = False
            while len(batch) < MOST_TOGETHER and not self._queue.empty():
                more = self._queue.get()
                if more is None:
                    last = True
                    break
                batch.append(more)
            # One who has stopped waiting has taken the work back; from here on it can no longer be taken back.
            self._together([job for job in batch if job.future.set_running_or_notify_cancel()])
            if last:
                return

    def _together(self, batch: list[Job]) -> None:
        try:
            self.connection.execute("BEGIN IMMEDIATE")
            for job in batch:
                self._one(job)
            self.connection.execute("COMMIT")
        except sqlite3.Error as error:
            self._undo(batch, error)
            return
        for job in batch:
            if job.settle is not None and job.error is None:
                job.settle(True)
            if job.error is None:
                job.future.set_result(job.result)
            else:
                job.future.set_exception(job.error)

    def _one(self, job: Job) -> None:
        self.connection.execute("SAVEPOINT job")
        try:
            job.result = job.work()
        except sqlite3.OperationalError:
            raise  # a full disk or a locked file concerns the whole transaction
        except Exception as error:  # noqa: BLE001 - handed to the one who asked, through the future
            job.error = error
            self.connection.execute("ROLLBACK TO job")
        self.connection.execute("RELEASE job")

    def _undo(self, batch: list[Job], error: sqlite3.Error) -> None:
        if self.connection.in_transaction:
            self.connection.execute("ROLLBACK")
        for job in batch:
            if job.settle is not None and job.error is None:
                job.settle(False)
            unavailable = StoreUnavailable(f"the database could not keep this: {error}")
            unavailable.__cause__ = error
            job.future.set_exception(job.error or unavailable)
