"""Reads CSV files once, from end to end, into the spool and on to the service, and shows how far it is.

Must not do: read any probe, or start over when it was interrupted.
"""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from api.domain.errors import InputError
from api.domain.tables import Place, take
from api.domain.tank import Probe
from collector.clock import now_ms
from collector.config import CollectorConfig
from collector.drivers.base import Surroundings
from collector.drivers.csv_rows import CsvRows
from collector.errors import PortTrouble, Stopped
from collector.progress import Bar, Plain, Progress, count_lines
from collector.spool import NAME, Spool
from collector.uplink import Uplink
from collector.upstream import upstreams
from collector.worker import keep

PACK_SIZE = 200
NAMED = "once"
LOOK_S = 0.2


@dataclass
class _Outcome:
    read: int = 0
    unreadable: int = 0
    notes: list[str] = field(default_factory=list)
    error: Exception | None = None
    done: bool = False
    left: int | None = None


def once(config: CollectorConfig, files: Sequence[Path], stop: threading.Event) -> int:
    """Bring every reading of the files to the service; 0 when all were taken, 1 when some could not be.

    Raises InputError when a file is missing or has another header.
    """
    for path in files:
        _check(path)
    service, _ = upstreams(config, NAMED)
    spool = Spool(config.data / NAME, config.spool_max_mb)
    uplink = Uplink(spool, service, stop, PACK_SIZE, linger_s=0.0, say=_complain, patient=False)
    outcome = _Outcome()
    reader = threading.Thread(target=_read_all, args=(config, files, spool, stop, outcome), name="files", daemon=True)
    try:
        total = sum(count_lines(path) - 1 for path in files)
        uplink.start()
        reader.start()
        _watch(spool, uplink, outcome, total, stop)
    finally:
        stop.set()
        spool.arrived.set()
        reader.join(2.0)
        uplink.join(2.0)
        service.close()
        spool.close(1.5)
    return _verdict(outcome, uplink, spool)


def _complain(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def _check(path: Path) -> None:
    try:
        with path.open("rb"):
            pass
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror}") from error
    if not path.is_file():
        raise InputError(f"{path} is not a file")


def _driver(path: Path, around: Surroundings) -> CsvRows:
    table = {"path": str(path.resolve()), "follow": False, "layout": "long"}
    options = take(table, CsvRows.KEYS, Place("--once", "", "probe"))
    return CsvRows(Probe("once", "csv_rows"), options, around)


def _read_all(
    config: CollectorConfig, files: Sequence[Path], spool: Spool, stop: threading.Event, outcome: _Outcome
) -> None:
    around = Surroundings(now_ms, time.monotonic, stop.wait, spool.bookmark, config.folder)
    try:
        for path in files:
            _read_one(_driver(path, around), path, spool, stop, outcome)
    except Stopped:
        return
    except Exception as error:  # noqa: BLE001 handed to the thread that waits, which raises it
        outcome.error = error
    outcome.done = True


def _read_one(driver: CsvRows, path: Path, spool: Spool, stop: threading.Event, outcome: _Outcome) -> None:
    try:
        driver.open()
        while not stop.is_set():
            batch = driver.read(0.1)
            outcome.unreadable += batch.unreadable
            if batch.last_unreadable and len(outcome.notes) < 5:
                outcome.notes.append(f"{path}: {batch.last_unreadable}")
            keep(spool, driver, batch, stop)
            outcome.read += len(batch.readings)
            if batch.last:
                return
        raise Stopped("told to stop")
    finally:
        driver.close()


def _watch(spool: Spool, uplink: Uplink, outcome: _Outcome, total: int, stop: threading.Event) -> None:
    """Show how many readings the service has, until it has all of them."""
    waiting = spool.waiting
    show = _progress(total)
    try:
        while not stop.is_set():
            done, left = outcome.done, waiting()
            outcome.left = left
            if outcome.error is not None:
                _raise(outcome.error)
            known = uplink.delivered.done + left
            expected = known if done else max(total - outcome.unreadable, known)
            sent = uplink.delivered
            refused = f"{sent.refused} refused" if sent.refused else ""
            show.update(sent.accepted + sent.duplicate, expected - sent.refused, uplink.trouble or refused)
            if done and left == 0:
                return
            stop.wait(LOOK_S)
    finally:
        show.close()


def _raise(error: Exception) -> None:
    if isinstance(error, PortTrouble):
        raise InputError(str(error)) from error
    raise error


def _progress(total: int) -> Progress:
    # a serial console is a terminal without a width, on which a bar would be invisible
    wide = sys.stderr.isatty() and os.get_terminal_size(sys.stderr.fileno()).columns > 0
    make: Callable[[int], Progress] = Bar if wide else Plain
    return make(total)


def _verdict(outcome: _Outcome, uplink: Uplink, spool: Spool) -> int:
    sent = uplink.delivered
    if not outcome.done or outcome.left != 0:
        _complain(f"stopped after {sent.done} readings; the same command goes on from here")
        return 1
    _complain(f"{sent.accepted} readings accepted, {sent.duplicate} were there already")
    if sent.refused:
        _complain(f"{sent.refused} readings refused by the service, kept in the spool's table 'refused'; the last:")
        _complain(f"  {sent.last_refused}")
    if outcome.unreadable:
        _complain(f"{outcome.unreadable} rows could not be read, for example:")
        for note in outcome.notes:
            _complain(f"  {note}")
    return 1 if sent.refused or outcome.unreadable or spool.lost else 0
