"""What came of every number: stored once, lost, doubled, refused, still held, or said by nobody.

Must not do: forgive anything; what is in doubt is counted as such.
"""

from __future__ import annotations

import sqlite3
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from tests.trials.crash_probes import Fate, Saying

Name = tuple[str, int]
"""Probe and number."""
AHEAD_MS = 600_000
"""What is dated later than this after now, the service does not take yet."""
STORED = "SELECT probe, raw FROM reading JOIN channel ON id = channel"


@dataclass
class Tally:
    """The figures of one way of readings; each list of names is what a person wants to look into."""

    sent: int = 0
    stored: int = 0
    lost: list[Name] = field(default_factory=list)
    doubled: list[Name] = field(default_factory=list)
    foreign: list[Name] = field(default_factory=list)
    refused: dict[Name, str] = field(default_factory=dict)
    held: int = 0
    ahead: int = 0
    waiting: int = 0
    doubt: int = 0
    doubt_stored: int = 0
    memory: int = 0
    memory_stored: int = 0
    broken: list[str] = field(default_factory=list)

    @property
    def good(self) -> bool:
        """Whether everything sent stands there once."""
        return not (self.lost or self.doubled or self.foreign or self.broken)


def stored(database: Path) -> Counter[Name]:
    """How often each number stands in the service's database; none while it cannot be read."""
    try:
        return Counter((str(probe), round(value)) for probe, value in _rows(database, STORED))
    except sqlite3.Error:
        return Counter()


def _rows(path: Path, sql: str) -> list[tuple[object, float]]:
    db = sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True, timeout=10)
    try:
        return db.execute(sql).fetchall()
    finally:
        db.close()


def missing(said: dict[Name, Saying], database: Path, spool: Path) -> list[Name]:
    """Numbers that were sent, are not stored yet, and may still come: not refused, not dated in the future."""
    done = stored(database).keys() | _spool(spool, "refused").keys() | _ahead(spool)
    return [name for name, saying in said.items() if saying.fate is Fate.SENT and name not in done]


def tally(said: dict[Name, Saying], database: Path, spool: Path) -> Tally:
    """Count everything; the programs have ended."""
    out, there = Tally(), stored(database)
    aside = {table: _spool(spool, table) for table in ("reading", "held", "refused")}
    ahead = _ahead(spool)
    for name, saying in said.items():
        if saying.fate is Fate.SENT:
            out.sent += 1
            out.stored += name in there
            if name not in there and name not in aside["held"] and name not in ahead:
                out.lost.append(name)
        elif saying.fate is Fate.MEMORY:
            out.memory += 1
            out.memory_stored += name in there
        else:
            out.doubt += 1
            out.doubt_stored += name in there
    out.doubled = sorted(name for name, count in there.items() if count > 1)
    out.foreign = sorted(name for name in there if name not in said)
    out.refused = {name: why for name, why in aside["refused"].items() if name not in there}
    out.held, out.ahead = len(aside["held"]), len(ahead - there.keys())
    out.waiting = len(aside["reading"].keys() - ahead)
    out.broken = [*_unsound(database), *_unsound(spool)]
    out.broken += [f"set aside as damaged: {path.name}" for path in spool.parent.glob("*.damaged-*")]
    return out


def _unsound(path: Path) -> list[str]:
    found = str(_rows(path, "PRAGMA integrity_check")[0][0])
    return [] if found == "ok" else [f"{path.name}: {found}"]


def _ahead(path: Path) -> set[Name]:
    """Numbers that wait in the spool with a date of the future, from when the collector believed a wrong clock."""
    sql = f"SELECT probe, value FROM reading WHERE time_ms > {time.time_ns() // 1_000_000 + AHEAD_MS}"  # noqa: S608
    return {(str(probe), round(value)) for probe, value in _rows(path, sql)}


def _spool(path: Path, table: str) -> dict[Name, str]:
    """Numbers of one table of the spool, with the reason of refused ones."""
    why = "reason" if table == "refused" else "''"
    db = sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)
    try:
        if not db.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (table,)).fetchone():
            return {}
        rows = db.execute(f"SELECT probe, value, {why} FROM {table}")  # noqa: S608 - our own words only
        return {(probe, round(value)): reason for probe, value, reason in rows}
    finally:
        db.close()
