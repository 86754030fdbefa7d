"""``--check``: each probe is spoken to once, and a plain table says what it answers and what to fix.

Must not do: keep a reading, acknowledge one, or take a port from a collector that is at work.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from api.domain.errors import IntermoltError
from api.domain.reading import RawReading
from api.domain.words import duration
from collector import last_word
from collector.clock import is_dated, now_ms
from collector.config import CheckedProbe, CollectorConfig
from collector.drivers.base import Driver, Surroundings
from collector.errors import PortReason, PortTrouble
from collector.lock import holder

LEAST_S, MOST_S = 5.0, 120.0
"""How long a probe is waited for: one interval and a little, within these bounds."""
OPEN_S = 20.0
"""How much longer a port may take to be opened, or a call to the system to come back."""
QUIET_S = 0.5
BUSY = "in use by another program: stop that"
HEAD = ("probe", "driver", "reachable", "says", "age", "what to fix")


@dataclass(slots=True)
class Found:
    """What came of one probe."""

    probe: str
    driver: str
    reachable: bool = False
    newest: dict[str, RawReading] = field(default_factory=dict)
    fix: str = ""
    missing: bool = False

    @property
    def well(self) -> bool:
        """Whether it can be reached, and all its values read."""
        return self.reachable and bool(self.newest) and not self.missing

    def take(self, readings: Iterable[RawReading]) -> None:
        """Newer readings in the place of older ones."""
        self.newest.update({str(reading.quantity): reading for reading in readings})

    def row(self, at_ms: int) -> tuple[str, ...]:
        """The table's line."""
        says = "; ".join(f"{one.quantity} {one.value:g} {one.unit}" for one in self.newest.values())
        last_ms = max((one.time_ms for one in self.newest.values()), default=None)
        age = "" if last_ms is None else duration(max(0, at_ms - last_ms) / 1000)
        age = age if last_ms is None or is_dated(last_ms) else "not known"
        return self.probe, self.driver, "yes" if self.reachable else "no", says or "nothing yet", age, self.fix


def check(config: CollectorConfig, say: Callable[[str], None], most_s: float = MOST_S, open_s: float = OPEN_S) -> int:
    """Speak to every probe at the same time, and print the table; 1 when one of them cannot be reached or read."""
    if not config.probes:
        say("no probe is described that a collector reads; add one to the room file under [[probe]]")
        return 1
    longest_s = max(_wait_s(one, most_s) for one in config.probes)
    say(f"speaking to {len(config.probes)} probes, at most {duration(longest_s)} ...")
    found = _look_all(config, most_s, open_s)
    _ask_the_collector(config, found)
    at_ms = now_ms()
    for line in table([HEAD, *(one.row(at_ms) for one in found)]):
        say(line)
    return 0 if all(one.well for one in found) else 1


def _wait_s(one: CheckedProbe, most_s: float) -> float:
    return min(max(LEAST_S, 1.5 * one.probe.every_s + 2.0), most_s)


def _look_all(config: CollectorConfig, most_s: float, open_s: float) -> list[Found]:
    """One thread a probe: those that share a port take turns among themselves and must all be there."""
    done: dict[str, Found] = {}

    def work(one: CheckedProbe) -> None:
        done[one.probe.id] = look(one, config, _wait_s(one, most_s))

    began_s = time.monotonic()
    threads = [(one, threading.Thread(target=work, args=(one,), daemon=True)) for one in config.probes]
    for _, thread in threads:
        thread.start()
    found = []
    for one, thread in threads:
        thread.join(max(0.0, began_s + _wait_s(one, most_s) + open_s - time.monotonic()))
        hung = f"it did not come back within {duration(_wait_s(one, most_s) + open_s)}: its driver or the system hangs"
        found.append(done.get(one.probe.id) or Found(one.probe.id, one.probe.driver, fix=hung))
    return found


def _ask_the_collector(config: CollectorConfig, found: Sequence[Found]) -> None:
    """For ports that are in use: the last word of the collector that uses them."""
    process = holder(config.data) if any(one.fix == BUSY for one in found) else None
    if process is None:
        return
    words = last_word.read(config.data, now_ms())
    for one in found:
        if one.fix == BUSY:
            word = words.get(one.probe)
            told = "nothing yet" if word is None else word.words
            one.fix = f"in use by the running collector (process {process}); its last word: {told}"
            if word is not None:
                one.reachable = word.state == "reading"
                one.take(word.newest)


def look(checked: CheckedProbe, config: CollectorConfig, wait_s: float) -> Found:
    """One probe: open it, and wait for its first readings."""
    found = Found(checked.probe.id, checked.probe.driver)
    stop = threading.Event()
    around = Surroundings(now_ms, time.monotonic, stop.wait, lambda source: None, config.folder, trial=True)
    driver: Driver | None = None
    try:
        driver = checked.driver(checked.probe, checked.options, around)
        driver.open()
        found.reachable = True
        _listen(driver, found, wait_s)
    except PortTrouble as error:
        found.reachable = found.reachable and error.reason is PortReason.SILENT
        found.fix = BUSY if error.reason is PortReason.BUSY else str(error)
    except (IntermoltError, OSError) as error:
        found.reachable, found.fix = False, str(error)
    except Exception as error:  # noqa: BLE001 a driver's fault is one line of the table, not the end of it
        found.reachable, found.fix = False, f"fault in driver {checked.probe.driver}: {error!r}"
    finally:
        if driver is not None:
            driver.close()
    return found


def _listen(driver: Driver, found: Found, wait_s: float) -> None:
    wanted = {str(value.quantity) for value in driver.probe.values}
    unreadable = ""
    end_s = time.monotonic() + wait_s
    while (left_s := end_s - time.monotonic()) > 0:
        batch = driver.read(min(1.0, left_s))
        found.take(batch.readings)
        unreadable = batch.last_unreadable or unreadable
        if batch.last or (wanted <= set(found.newest) and not _more(driver, found)):
            break
    missing = sorted(wanted - set(found.newest))
    if not found.newest:
        found.fix = (
            f"it speaks, but not so that it can be read: {unreadable}" if unreadable else _silent(driver, wait_s)
        )
    elif missing:
        found.missing = True
        found.fix = f"no {' and no '.join(missing)}" + (f": {unreadable}" if unreadable else "")


def _more(driver: Driver, found: Found) -> bool:
    """Whether what waits there is old and newer readings follow, as in a file."""
    batch = driver.read(QUIET_S) if driver.SOURCE_KEEPS else None
    found.take(batch.readings if batch is not None else ())
    return batch is not None and bool(batch.readings)


def _silent(driver: Driver, wait_s: float) -> str:
    return (
        f"open, but it said nothing for {duration(wait_s)}: is it powered and plugged in, are the speed and every_s "
        f"right ({driver.probe.every_s:g} s)?"
    )


def table(rows: Sequence[tuple[str, ...]]) -> list[str]:
    """Columns side by side; the last one as long as it wants to be."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]) - 1)]
    return [
        "  ".join([*(cell.ljust(width) for cell, width in zip(row, widths, strict=False)), row[-1]]).rstrip()
        for row in rows
    ]
