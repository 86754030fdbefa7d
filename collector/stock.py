"""The readings in stock: on the disk, and in bounded memory while the disk takes nothing.

Readings leave it one by one, in any order, because fresh ones go before a backlog. Used by the spool's writer thread
alone. Must not do: throw a reading away without counting it.
"""

from __future__ import annotations

import sqlite3
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from api.domain.errors import InputError
from api.domain.reading import RawReading
from collector.errors import SpoolDamaged
from collector.later import Later
from collector.runs import Runs
from collector.spoolfile import Refusal, Row, SpoolFile, is_damage, salvage, set_aside

HELD_LIMIT = 20_000
PENDING_REFUSALS = 1000
FRESH_S = 5.0
"""How long after it came a reading goes before the backlog. [s]"""
FRESH_AGE_MS = 60_000
"""A reading that tells of a time before this came late from its source and is no news. [ms]"""
MARK_S = 0.25
LOOKED_THROUGH = 2000
Rescued = tuple[list[RawReading], list[tuple[str, str]]]


@dataclass(frozen=True, slots=True)
class Taken:
    """Readings taken for sending. ``epoch`` tells whether their numbers still mean the same file."""

    epoch: int
    rows: list[Row]

    @property
    def numbers(self) -> list[int]:
        """The numbers of all of them."""
        return [number for number, _ in self.rows]


@dataclass(frozen=True, slots=True)
class StockState:
    """What stands in the status report about the spool."""

    waiting: int
    oldest_ms: int | None
    dropped: int
    refused: int
    trouble: str | None


class Stock:
    """Readings on disk and in memory, in one order. ``commit`` is all or nothing on the disk."""

    def __init__(self, path: Path, max_bytes: int, now_ms: Callable[[], int], monotonic_s: Callable[[], float]) -> None:
        self.path, self.max_bytes, self.now_ms, self._monotonic_s = path, max_bytes, now_ms, monotonic_s
        self.file: SpoolFile | None = None
        self.held: deque[Row] = deque()
        self.epoch = 0
        self.disk_trouble: str | None = None
        self.notice: str | None = None
        self._next_id = 1
        self._done = Runs()
        self._later = Later(monotonic_s)
        self._marks: deque[tuple[float, int]] = deque()
        self._on_disk = self._dropped = self._refused = 0
        self._new_drops = 0
        self._refusals: list[Refusal] = []

    def open(self) -> None:
        """Open the file, setting a damaged one aside. Readings held meanwhile get numbers after those in it.

        Raises sqlite3.Error or OSError when the disk will not have it.
        """
        rescued: Rescued = ([], [])
        try:
            file = SpoolFile(self.path)
        except SpoolDamaged as damage:
            rescued = self._set_aside(damage)
            file = SpoolFile(self.path)
        self._begin(file, rescued)

    def _begin(self, file: SpoolFile, rescued: Rescued) -> None:
        self.file = file
        self.epoch += 1
        self._done.clear()
        self._later.clear()
        self._marks.clear()
        first = file.last_id() + 1
        waiting = [*rescued[0], *(reading for _, reading in self.held)]
        self.held = deque(enumerate(waiting, first))
        self._next_id = first + len(waiting)
        self._on_disk = file.waiting()
        self._dropped, self._refused = file.counter("dropped"), file.counter("refused")
        if rescued[0] or rescued[1]:
            self.commit([], rescued[1])

    def _set_aside(self, damage: SpoolDamaged) -> Rescued:
        if self.file is not None:
            self.file.close()
            self.file = None
        aside = set_aside(self.path, self.now_ms())
        rescued = salvage(aside)
        self.notice = f"{damage}; it was set aside as {aside.name}, {len(rescued[0])} readings in it were rescued"
        return rescued

    def _number(self, readings: Sequence[RawReading]) -> list[Row]:
        """Give readings their place in the order."""
        first = self._next_id
        now_s = self._monotonic_s()
        if readings and (not self._marks or now_s - self._marks[-1][0] >= MARK_S):
            self._marks.append((now_s, first))
        self._next_id += len(readings)
        return list(enumerate(readings, first))

    def _fresh_from(self) -> int:
        """The lowest number of a reading that came within ``FRESH_S``."""
        now_s = self._monotonic_s()
        while self._marks and now_s - self._marks[0][0] > FRESH_S:
            self._marks.popleft()
        return self._marks[0][1] if self._marks else self._next_id

    def commit(
        self,
        readings: Sequence[RawReading],
        bookmarks: Sequence[tuple[str, str]],
        also: Callable[[SpoolFile], object] = lambda file: None,
    ) -> None:
        """Put readings, bookmarks and everything that waits in memory on the disk, in one transaction.

        ``also`` does its own work on the file within it.
        Raises sqlite3.Error or OSError; then nothing of it is on the disk.
        """
        file = self._opened()
        new = [*self.held, *self._number(readings)]
        file.db.execute("BEGIN IMMEDIATE")
        try:
            file.add(new)
            for source, position in bookmarks:
                file.set_bookmark(source, position)
            also(file)
            removed = sum(file.remove(first, last) for first, last in self._done.runs)
            if self._refusals:
                file.refuse(self._refusals, self.now_ms())
            dropped = self._make_room(file, len(new))
            if dropped + self._new_drops:
                file.count("dropped", dropped + self._new_drops)
            file.db.execute("COMMIT")
        except BaseException:
            if file.db.in_transaction:
                file.db.execute("ROLLBACK")
            raise
        self._dropped += dropped + self._new_drops
        self._refused += len(self._refusals)
        self._on_disk += len(new) - removed - dropped
        self._new_drops, self._refusals = 0, []
        self._done.clear()
        self.held.clear()
        self.disk_trouble = None

    def _make_room(self, file: SpoolFile, arrived: int) -> int:
        """Over the limit, let the oldest go; how many. Refused readings go first: they were counted already."""
        if file.used_bytes() <= self.max_bytes:
            return 0
        file.trim_refused(100)
        if file.used_bytes() <= self.max_bytes:
            return 0
        return file.drop_oldest(arrived + self._on_disk // 50 + 1)

    def _opened(self) -> SpoolFile:
        if self.file is None:
            self.open()
        if self.file is None:
            raise OSError("the spool file is closed")
        return self.file

    def recover(self, error: Exception) -> bool:
        """After a failed commit: when the file itself is broken, set it aside and begin a new one."""
        if not (isinstance(error, sqlite3.Error) and is_damage(error)):
            return False
        rescued = self._set_aside(SpoolDamaged(str(self.path), str(error)))
        self._begin(SpoolFile(self.path), rescued)
        return True

    def hold(self, readings: Sequence[RawReading], error: Exception) -> None:
        """Keep readings in memory because the disk takes nothing; past a limit the oldest fall out, counted."""
        self.disk_trouble = str(error)
        self.held.extend(self._number(readings))
        while len(self.held) > HELD_LIMIT:
            self.held.popleft()
            self._new_drops += 1

    def take(self, count: int) -> Taken:
        """The oldest readings that are not done; while that is a backlog, the fresh ones of them first.

        At least a quarter of ``count`` is left to the backlog, so that it ends however much comes in.
        """
        self._later.look()
        rows = self._oldest(count)
        fresh_from = self._fresh_from()
        if len(rows) < count or rows[0][0] >= fresh_from:
            return Taken(self.epoch, rows)
        fresh = self._fresh(fresh_from, count - count // 4)
        names = {number for number, _ in fresh}
        return Taken(self.epoch, [*fresh, *(row for row in rows if row[0] not in names)][:count])

    def _oldest(self, count: int) -> list[Row]:
        rows: list[Row] = []
        after = 0
        while len(rows) < count:
            while (past := self._later.past(self._done.past(after))) > after:
                after = past
            found = self._read(lambda file, after=after: file.oldest(after, count))  # type: ignore[misc]
            rows += [row for row in found if self._open(row)]
            if len(found) < count:
                break
            after = found[-1][0]
        rows += islice(filter(self._open, self.held), max(0, count - len(rows)))
        return rows[:count]

    def _fresh(self, fresh_from: int, most: int) -> list[Row]:
        """The newest of what came just now, in the order it came."""
        since_ms = self.now_ms() - FRESH_AGE_MS
        rows = self._read(lambda file: file.newest(fresh_from, since_ms, LOOKED_THROUGH))
        rows += [row for row in self.held if row[0] >= fresh_from and row[1].time_ms >= since_ms]
        return [row for row in rows if self._open(row)][-most:]

    def _open(self, row: Row) -> bool:
        return row[0] not in self._done and row[0] not in self._later

    def _read(self, question: Callable[[SpoolFile], list[Row]]) -> list[Row]:
        """Rows of the file; none while the disk cannot be read, so that what is in memory goes on."""
        try:
            return question(self.file) if self.file is not None else []
        except InputError as error:
            raise sqlite3.DatabaseError(f"malformed row: {error}") from error
        except sqlite3.Error as error:
            if is_damage(error):
                raise
            self.disk_trouble = str(error)
            return []

    def finish(self, epoch: int, numbers: Sequence[int], refusals: Sequence[Refusal]) -> None:
        """The service has these readings but for the refused, which the next commit sets aside."""
        if epoch != self.epoch:
            return  # the numbers belong to another file; these readings go out again and are known as duplicates
        self._done.add(numbers)
        self._refusals.extend(refusals)
        if len(self._refusals) > PENDING_REFUSALS and self.disk_trouble:
            self._refused += len(self._refusals) - PENDING_REFUSALS
            del self._refusals[:-PENDING_REFUSALS]
        if self.held:
            self.held = deque(row for row in self.held if row[0] not in self._done)

    def defer(self, epoch: int, numbers: Sequence[int], why: str) -> None:
        """The service will have these later: they stay, and others go before them for a while."""
        if epoch == self.epoch:
            self._later.add(numbers, why)

    def nearly_full(self) -> bool:
        """Whether sources that keep their readings should wait."""
        try:
            return self.file is not None and self.file.used_bytes() > 0.9 * self.max_bytes
        except sqlite3.Error:
            return False  # the commit that follows meets the same error and deals with it

    def waiting(self) -> int:
        """Readings not yet finished with; close above the truth while the disk takes no deletions."""
        return self._on_disk + len(self.held)

    def state(self) -> StockState:
        """Figures for the status report."""
        oldest = self._oldest(1)
        trouble = self._later.words or self.notice
        if self.disk_trouble is not None:
            trouble = f"the disk takes nothing ({self.disk_trouble}); {len(self.held)} readings are held in memory only"
        return StockState(
            waiting=self.waiting() if oldest or self._later.words else 0,
            oldest_ms=oldest[0][1].time_ms if oldest else None,
            dropped=self._dropped + self._new_drops,
            refused=self._refused + len(self._refusals),
            trouble=trouble,
        )

    def close(self) -> None:
        """Close the file."""
        if self.file is not None:
            self.file.close()
            self.file = None
