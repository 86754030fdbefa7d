"""Readings whose time is not known yet: kept in the spool's file by boot and time since boot, dated when the clock is.

Readings of an earlier boot can never be dated: they stay here, are counted and can be listed, and nobody judges them.
Must not do: guess a date, or let a reading go that is not counted.
"""

from __future__ import annotations

import json
import sqlite3
import threading
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from collector.clock import Clock, Past, Stamper, date_words, is_dated
from collector.errors import SpoolTrouble
from collector.hands import Hands
from collector.spool import Spool
from collector.spoolfile import SpoolFile
from collector.stock import HELD_LIMIT, Stock

TABLE = """
CREATE TABLE IF NOT EXISTS held (
    id INTEGER PRIMARY KEY, boot TEXT NOT NULL, probe TEXT NOT NULL, quantity TEXT NOT NULL, boot_ms INTEGER NOT NULL,
    value REAL NOT NULL, unit TEXT NOT NULL);
CREATE INDEX IF NOT EXISTS held_boot ON held (boot, id);
"""
TOGETHER = 5000
ROW_BYTES = 600
"""A quarter of the spool may hold undated readings, at about 150 bytes each."""
CLOCK, STAMP, DROPPED = "clock", "stamp ", "held dropped"
Bookmarks = Sequence[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class HeldState:
    """How many readings wait for a date, how many can never have one, and how many there was no room for."""

    waiting: int = 0
    unknown: int = 0
    dropped: int = 0
    doubt: str = ""

    @property
    def words(self) -> str:
        """What is wrong, empty when nothing is."""
        said = []
        if self.doubt:
            said.append(f"{self.doubt}; {self.waiting} readings wait for their time")
        if self.unknown:
            said.append(f"time unknown: {self.unknown} readings from before a power cut (intermolt collect -- --held)")
        if self.dropped:
            said.append(f"{self.dropped} readings without a time were dropped: there was no room")
        return "; ".join(said)


class Held:
    """The door readings take into the spool when their stamps are this computer's; all calls from any thread."""

    def __init__(self, spool: Spool, hands: Hands) -> None:
        self._spool, self._memory, self._lock = spool, deque[RawReading](maxlen=HELD_LIMIT), threading.Lock()
        self._lasts: dict[str, dict[int, int]] = {}
        self._boots: dict[str, int] = {}
        self._lost = 0
        try:
            past = spool.ask(lambda stock: self._past(stock, hands.boot_id))
        except SpoolTrouble:
            past = Past()  # a disk that cannot be read says nothing of earlier runs
        self.clock = Clock(hands, past)

    def stamper(self, probe: str) -> Stamper:
        """A stamper that goes on where the probe's last one left off."""
        return Stamper(self.clock, self._lasts.get(probe), self._boots.get(probe, 0))

    def keep(self, readings: Sequence[RawReading], bookmarks: Bookmarks, *, source_keeps: bool = False) -> bool:
        """As ``Spool.keep``, for readings with or without a date and any number of bookmarks, all in one commit.

        Raises SpoolTrouble when the disk takes nothing and the source keeps them.
        """
        if len(bookmarks) < 2 and all(is_dated(reading.time_ms) for reading in readings) and not self._memory:
            return self._spool.keep(readings, bookmarks[0] if bookmarks else None, source_keeps=source_keeps)
        with self._lock:
            try:
                self._flush()
                self._spool.ask(lambda stock: self._write(stock, readings, bookmarks))
            except SpoolTrouble:
                if source_keeps:
                    raise
                self._lost += max(0, len(self._memory) + len(readings) - HELD_LIMIT)
                self._memory.extend(readings)
                return False
        self._spool.arrived.set()
        return True

    def _flush(self) -> None:
        waiting = list(self._memory)
        if waiting:
            self._spool.ask(lambda stock: self._write(stock, waiting, ()))
            self._memory.clear()

    def settle(self) -> bool:
        """Date what is held if the clock is believed now, then stamp by dates; True while there is more to do.

        Raises SpoolTrouble.
        """
        with self._lock:
            self._flush()
        more: bool = self._spool.ask(self._date_some)
        if more:
            self._spool.arrived.set()
        return more

    def state(self) -> HeldState:
        """How it stands. Raises SpoolTrouble."""
        found: HeldState = self._spool.ask(self._state)
        return replace(found, waiting=found.waiting + len(self._memory), doubt=self.clock.doubt())

    def _past(self, stock: Stock, boot_id: str) -> Past:
        if stock.file is None:
            return Past()
        newest = [0] * len(Past().newest_ms)
        for source, position in stock.file.db.execute("SELECT source, position FROM bookmark WHERE source >= 'stamp '"):
            if source.startswith(STAMP):
                _, stretch, probe = source.split(" ", 2)
                self._lasts.setdefault(probe, {})[int(stretch)] = int(position)
                newest[int(stretch)] = max(newest[int(stretch)], int(position))
        rows = _table(stock.file).db.execute(
            "SELECT probe, max(boot_ms) FROM held WHERE boot = ? GROUP BY probe", (boot_id,)
        )
        self._boots = dict(rows.fetchall())
        said: dict[str, Any] = json.loads(stock.file.bookmark(CLOCK) or "{}")
        return Past(said.get("boot", ""), said.get("offset_ms", 0), said.get("stretch", 0), tuple(newest))

    def _write(self, stock: Stock, readings: Sequence[RawReading], bookmarks: Bookmarks) -> None:
        """In the spool's writer: no clock is adopted between this look and the commit."""
        moment = self.clock.read()
        dated, undated, late = [], [], []
        for reading in readings:
            if is_dated(reading.time_ms):
                dated.append(reading)
            elif moment.offset_ms is not None:
                late.append(replace(reading, time_ms=reading.time_ms + moment.adopted_ms))
                dated.append(late[-1])
            else:
                undated.append(reading)

        def also(file: SpoolFile) -> None:
            self._add(_table(file), undated, stock.max_bytes // ROW_BYTES)

        stock.commit(dated, [*self._used(late), *bookmarks], also)

    def _add(self, file: SpoolFile, readings: Sequence[RawReading], most: int) -> None:
        rows = [(self.clock.boot_id, r.probe, str(r.quantity), r.time_ms, r.value, r.unit) for r in readings]
        sql = "INSERT INTO held(boot, probe, quantity, boot_ms, value, unit) VALUES (?, ?, ?, ?, ?, ?)"
        file.db.executemany(sql, rows)
        over = "DELETE FROM held WHERE id <= (SELECT id FROM held ORDER BY id DESC LIMIT 1 OFFSET ?)"
        if dropped := file.db.execute(over, (most,)).rowcount:
            file.count(DROPPED, dropped)

    def _date_some(self, stock: Stock) -> bool:
        """One commit's worth of held readings to the others; the last one also turns the stamps into dates."""
        file = stock.file
        if file is None:
            return False
        sql = (
            "SELECT id, probe, quantity, boot_ms, value, unit FROM held INDEXED BY held_boot"
            " WHERE boot = ? ORDER BY id LIMIT ?"
        )
        db, boot_id = _table(file).db, self.clock.boot_id
        first = "SELECT min(boot_ms) FROM held WHERE boot = ?"
        plan = self.clock.plan(lambda: db.execute(first, (boot_id,)).fetchone()[0])
        if plan is None:
            return False
        offset_ms, stretch = plan
        found = db.execute(sql, (boot_id, TOGETHER)).fetchall()
        dated = [RawReading(row[1], Quantity(row[2]), row[3] + offset_ms, row[4], row[5]) for row in found]
        marks = self._used(dated)
        if len(found) == TOGETHER:
            stock.commit(dated, marks, lambda file: _remove(file, boot_id, found[-1][0]))
            return True
        clock = {"boot": boot_id, "offset_ms": offset_ms, "stretch": stretch}
        marks.append((CLOCK, json.dumps(clock)))
        stock.commit(dated, marks, lambda file: _remove(file, boot_id, found[-1][0] if found else 0))
        self.clock.adopt(offset_ms, stretch)
        return False

    def _used(self, readings: Sequence[RawReading]) -> list[tuple[str, str]]:
        """Bookmarks of the newest stamps among readings that were just dated."""
        newest: dict[tuple[str, int], int] = {}
        for reading in readings:
            self.clock.used(reading.time_ms)
            key = (reading.probe, reading.time_ms % 10)
            newest[key] = max(newest.get(key, 0), reading.time_ms)
        return [stamp_mark(probe, time_ms) for (probe, _), time_ms in newest.items()]

    def _state(self, stock: Stock) -> HeldState:
        if stock.file is None:
            return HeldState()
        db = _table(stock.file).db
        total = db.execute("SELECT count(*) FROM held").fetchone()[0]
        mine = db.execute("SELECT count(*) FROM held WHERE boot = ?", (self.clock.boot_id,)).fetchone()[0]
        return HeldState(mine, total - mine, stock.file.counter(DROPPED) + self._lost)


def stamp_mark(probe: str, time_ms: int) -> tuple[str, str]:
    """The bookmark that remembers a probe's newest stamp of its stretch."""
    return f"{STAMP}{time_ms % 10} {probe}", str(time_ms)


def _table(file: SpoolFile) -> SpoolFile:
    if not file.db.execute("SELECT 1 FROM sqlite_master WHERE name = 'held_boot'").fetchone():
        for statement in TABLE.split(";"):
            file.db.execute(statement)
    return file


def _remove(file: SpoolFile, boot_id: str, last: int) -> None:
    file.db.execute("DELETE FROM held WHERE boot = ? AND id <= ?", (boot_id, last))


def listed(path: Path) -> Iterator[str]:
    """Every held reading of a spool file, one a line: boot, seconds since it, probe, quantity, value, unit.

    Raises InputError when the file cannot be read.
    """
    if not path.exists():
        return
    try:
        db = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)
        try:
            if db.execute("SELECT 1 FROM sqlite_master WHERE name = 'held'").fetchone():
                rows = db.execute("SELECT boot, boot_ms, probe, quantity, value, unit FROM held ORDER BY id")
                for boot, boot_ms, *rest in rows:
                    yield ",".join(str(part) for part in (boot, boot_ms / 1000, *rest))
        finally:
            db.close()
    except sqlite3.Error as error:
        raise InputError(f"{path} cannot be read: {error}") from error


def believe(spool: Spool, hands: Hands) -> str:
    """A person says that the clock is right as it is: the next start takes it; the date it shows, as words.

    Raises SpoolTrouble when that cannot be written down.
    """
    now_ms = hands.wall_ms()

    def note(stock: Stock) -> None:
        said: dict[str, Any] = json.loads((stock.file.bookmark(CLOCK) if stock.file else None) or "{}")
        offset_ms = now_ms - hands.boot_ms()
        mark = {"boot": hands.boot_id, "offset_ms": offset_ms, "stretch": said.get("stretch", 0)}
        stock.commit([], [(CLOCK, json.dumps(mark))])

    spool.ask(note)
    return date_words(now_ms)
