"""The spool keeps every reading: across restarts, kills, a full disk, a broken file, and its own limit."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from collector.errors import SpoolTrouble, Stopped
from collector.spool import Spool, _Ask
from collector.stock import HELD_LIMIT
from tests.collector.conftest import Until, readings

KEEPS_FOR_EVER = """
import sys
from pathlib import Path
from collector.spool import Spool
from tests.collector.conftest import readings
spool = Spool(Path(sys.argv[1]), gather_s=0.0)
n = 0
while True:
    spool.keep(readings(7, n), ("file", str(n + 7)))
    n += 7
    print(n, flush=True)
"""


def full(spool: Spool) -> None:
    """Make SQLite answer as it does on a full disk (SQLITE_FULL)."""
    on_file(spool, lambda db: db.execute("PRAGMA max_page_count=1"))


def roomy(spool: Spool) -> None:
    """The disk has room again."""
    on_file(spool, lambda db: db.execute("PRAGMA max_page_count=1000000"))


def on_file(spool: Spool, act: Callable[[sqlite3.Connection], object]) -> object:
    """Do something with the open file, in the thread that owns it."""
    return spool._do(_Ask(question=lambda stock: act(stock.file.db) if stock.file else None))


def test_what_was_kept_is_there_after_a_restart_oldest_first(tmp_path: Path) -> None:
    """With its bookmark."""
    path = tmp_path / "spool.db"
    first = Spool(path)
    assert first.keep(readings(5), ("file", "120")) is True
    first.close()
    second = Spool(path)
    assert [reading for _, reading in second.take(10).rows] == readings(5)
    assert second.bookmark("file") == "120"
    second.close()


def test_readings_stay_until_finished_and_the_refused_are_set_aside(spool: Spool) -> None:
    """A refused reading leaves the queue with its reason, and is counted."""
    spool.keep(readings(5))
    taken = spool.take(3)
    assert spool.take(3).rows == taken.rows
    spool.finish(taken, taken.numbers, [(taken.rows[1], "no such probe")])
    assert [reading for _, reading in spool.take(10).rows] == readings(2, 3)
    assert (spool.state().waiting, spool.state().refused) == (2, 1)
    kept = on_file(spool, lambda db: db.execute("SELECT value, reason FROM refused").fetchall())
    assert kept == [(readings(5)[1].value, "no such probe")]


def test_kill_in_the_middle_loses_no_committed_reading_and_keeps_bookmarks_in_step(tmp_path: Path) -> None:
    """After kill -9 the file holds at least what was reported kept, and bookmark and readings agree."""
    path = tmp_path / "spool.db"
    command = [sys.executable, "-c", KEEPS_FOR_EVER, str(path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        told = [int(process.stdout.readline()) for _ in range(60)]
        os.kill(process.pid, signal.SIGKILL)
        told += [int(line) for line in process.stdout.read().split()]
    spool = Spool(path)
    rows = [reading for _, reading in spool.take(100_000).rows]
    position = spool.bookmark("file")
    spool.close()
    assert len(rows) >= told[-1]
    assert rows == readings(len(rows))
    assert position == str(len(rows))


def test_every_commit_is_forced_to_the_disk(spool: Spool) -> None:
    """synchronous=FULL (2) with a write-ahead log survives power loss, as SQLite documents."""
    assert on_file(spool, lambda db: db.execute("PRAGMA synchronous").fetchone()) == (2,)
    assert on_file(spool, lambda db: db.execute("PRAGMA journal_mode").fetchone()) == ("wal",)


def test_many_workers_share_commits(tmp_path: Path) -> None:
    """All readings of sixteen threads arrive, each thread's in its order."""
    spool = Spool(tmp_path / "spool.db")

    def work(name: str) -> None:
        for n in range(10):
            spool.keep(readings(1, n, name))

    threads = [threading.Thread(target=work, args=(f"p{n}",)) for n in range(16)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    rows = [reading for _, reading in spool.take(1000).rows]
    assert len(rows) == 160
    for n in range(16):
        assert [row for row in rows if row.probe == f"p{n}"] == readings(10, 0, f"p{n}")
    spool.close()


def test_full_disk_holds_readings_in_memory_says_so_and_writes_them_later(spool: Spool) -> None:
    """Nothing is acknowledged meanwhile, order is kept, and delivery goes on from memory."""
    spool.keep(readings(2))
    full(spool)
    assert spool.keep(readings(500, 2)) is False
    assert "held in memory only" in str(spool.state().trouble)
    assert spool.state().waiting == 502
    taken = spool.take(300)
    assert [reading for _, reading in taken.rows] == readings(300)
    spool.finish(taken, taken.numbers)
    roomy(spool)
    assert spool.keep(readings(1, 502)) is True
    assert [reading for _, reading in spool.take(1000).rows] == readings(203, 300)
    assert spool.state().trouble is None
    assert spool.state().waiting == 203


def test_full_disk_makes_a_source_that_keeps_its_readings_wait(spool: Spool) -> None:
    """A file offers its rows again; holding them in memory as well would only double them."""
    full(spool)
    with pytest.raises(SpoolTrouble, match="disk takes nothing"):
        spool.keep(readings(500), ("file", "1"), source_keeps=True)
    roomy(spool)
    assert spool.state().waiting == 0
    assert spool.bookmark("file") is None


def test_memory_for_a_full_disk_is_bounded_and_what_falls_out_is_counted(spool: Spool) -> None:
    """The counter goes to the disk when that works again."""
    full(spool)
    for first in range(0, HELD_LIMIT + 5000, 5000):
        spool.keep(readings(5000, first))
    assert spool.state().waiting == HELD_LIMIT
    assert spool.state().dropped == 5000
    roomy(spool)
    spool.keep(readings(1, HELD_LIMIT + 5000))
    assert spool.state().dropped == 5000
    assert spool.state().waiting == HELD_LIMIT + 1


def test_over_its_limit_the_oldest_go_and_the_count_outlives_the_process(tmp_path: Path) -> None:
    """What stays are the newest, without a gap."""
    path = tmp_path / "spool.db"
    spool = Spool(path, max_mb=1.0)
    for first in range(0, 60_000, 2000):
        spool.keep(readings(2000, first))
    state = spool.state()
    rows = [reading for _, reading in spool.take(100_000).rows]
    assert state.dropped > 0
    assert state.waiting == len(rows) == 60_000 - state.dropped
    assert rows == readings(len(rows), 60_000 - len(rows))
    with pytest.raises(SpoolTrouble, match="the spool is full"):
        spool.keep(readings(1), ("file", "1"), source_keeps=True)
    spool.close()
    again = Spool(path, max_mb=1.0)
    assert again.state().dropped == state.dropped
    again.close()


def test_a_file_that_is_no_database_is_set_aside_not_deleted(tmp_path: Path) -> None:
    """A fresh one is begun and the status says where the old one is."""
    path = tmp_path / "spool.db"
    path.write_bytes(b"this was a spool once " * 500)
    spool = Spool(path)
    assert spool.keep(readings(3)) is True
    trouble = str(spool.state().trouble)
    spool.close()
    (aside,) = tmp_path.glob("spool.db.damaged-*")
    assert aside.read_bytes() == b"this was a spool once " * 500
    assert aside.name in trouble


def test_readings_are_rescued_from_a_file_with_a_broken_page(tmp_path: Path) -> None:
    """Those before the break go on their way; the broken file stays for a person to look into."""
    path = tmp_path / "spool.db"
    first = Spool(path)
    first.keep(readings(5000), ("file", "9"))
    first.close()
    size = path.stat().st_size
    with path.open("r+b") as file:
        file.seek(size // 2)
        file.write(b"\xa5" * 8192)
    second = Spool(path)
    state = second.state()
    rows = [reading for _, reading in second.take(10_000).rows]
    assert second.bookmark("file") == "9"
    second.close()
    assert 100 < len(rows) < 5000
    assert rows == readings(len(rows))
    assert f"{len(rows)} readings in it were rescued" in str(state.trouble)
    assert len(list(tmp_path.glob("spool.db.damaged-*"))) == 1


def test_a_file_that_breaks_while_in_use_is_replaced_and_numbers_of_the_old_one_mean_nothing(spool: Spool) -> None:
    """A pack taken before the break cannot delete readings that came after it."""
    spool.keep(readings(3))
    taken = spool.take(3)
    on_file(spool, lambda db: db.execute("DROP TABLE reading"))
    assert spool.keep(readings(2, 3)) is True
    spool.finish(taken, taken.numbers)
    assert [reading for _, reading in spool.take(10).rows] == readings(2, 3)
    assert "damaged" in str(spool.state().trouble)


def test_a_spool_that_cannot_be_opened_holds_readings_until_it_can(tmp_path: Path, until: Until) -> None:
    """A folder that appears late stands for a disk that does."""
    path = tmp_path / "late" / "spool.db"
    spool = Spool(path)
    assert spool.keep(readings(2)) is False
    assert [reading for _, reading in spool.take(10).rows] == readings(2)
    path.parent.mkdir()
    assert spool.keep(readings(1, 2)) is True
    assert [reading for _, reading in spool.take(10).rows] == readings(3)
    spool.close()


def test_after_close_nothing_is_accepted_in_silence(spool: Spool) -> None:
    """You closed it is a different thing from it broke."""
    spool.close()
    with pytest.raises(Stopped):
        spool.keep(readings(1))


def test_space_of_sent_readings_goes_back_to_the_disk(tmp_path: Path) -> None:
    """After a long outage the file does not stay large for ever."""
    path = tmp_path / "spool.db"
    spool = Spool(path)
    for first in range(0, 100_000, 5000):
        spool.keep(readings(5000, first))
    large_bytes = path.stat().st_size
    while (taken := spool.take(5000)).rows:
        spool.finish(taken, taken.numbers)
    for n in range(20):
        spool.keep(readings(1, 100_000 + n))
        taken = spool.take(1)
        spool.finish(taken, taken.numbers)
    spool.close()
    assert path.stat().st_size < large_bytes - 1_000_000
