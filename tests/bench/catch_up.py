"""A backlog of a day drains while new readings come: how fast, and how soon a new one is judged.

    python -m tests.bench.catch_up [--hours 24] [--probes 50] [--every 10] [--way mqtt|http|both]

A collector's own spool and uplink send to a service in a process of its own, through a stock broker or over HTTP.
Both are watched from outside, in the service's database: a reading is judged in the transaction that makes it visible
there. Goal: 20 times real time or better, and new readings judged within 2 s. (The readings are fit water, so no alert
is raised.) On a machine that does other work at the same time the figures are of that machine at that time.
"""

from __future__ import annotations

import argparse
import contextlib
import sqlite3
import statistics
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.tank import Mqtt
from collector.mqtt_line import Broker
from collector.mqtt_service import MqttService
from collector.service import Service, Upstream
from collector.spool import Spool
from collector.uplink import Uplink
from tests.bench.rooms import service
from tests.support.mosquitto import Mosquitto

LOOK_S = 0.02
NAMES = ((Quantity.TEMPERATURE, "Cel", 26.1), (Quantity.OXYGEN, "mg/L", 7.8))


@dataclass
class Found:
    """What was seen. ``waits_s`` are the times from a new reading's arrival to its being judged."""

    backlog: int = 0
    took_s: float = 0.0
    live: int = 0
    waits_s: list[float] = field(default_factory=list)
    stored: int = 0
    duplicate: int = 0
    refused: int = 0

    def words(self, real_s: float) -> str:
        """One line."""
        waits = sorted(self.waits_s)
        return (
            f"{self.backlog:,} readings in {self.took_s:.1f} s: {self.backlog / self.took_s:,.0f} readings/s,"
            f" {real_s / self.took_s:,.0f} times real time; {len(waits)} new readings meanwhile, judged after"
            f" median {statistics.median(waits):.2f} s, 99th percentile {waits[int(len(waits) * 0.99)]:.2f} s,"
            f" longest {waits[-1]:.2f} s; sent twice {self.duplicate}, refused {self.refused}"
        )


def said(probe: int, time_ms: int) -> list[RawReading]:
    """What a probe says at a time."""
    wave = 0.01 * (time_ms // 1000 % 7)
    return [RawReading(f"p{probe}", quantity, time_ms, base + wave, unit) for quantity, unit, base in NAMES]


def fill(spool: Spool, probes: int, every_s: float, hours: float, end_ms: int) -> int:
    """The backlog, in the order it came; how many readings."""
    count, some = 0, []
    for step in range(int(hours * 3600 / every_s)):
        at_ms = end_ms - round((hours * 3600 - step * every_s) * 1000)
        for probe in range(probes):
            some += said(probe, at_ms + probe)
        if len(some) >= 5000:
            spool.keep(some)
            count, some = count + len(some), []
    spool.keep(some)
    return count + len(some)


class Live(threading.Thread):
    """New readings of every probe while the backlog drains, and when each was seen in the database."""

    def __init__(self, spool: Spool, database: Path, probes: int, every_s: float) -> None:
        super().__init__(daemon=True)
        self._spool, self._database, self._probes, self._every_s = spool, database, probes, every_s
        self._end = threading.Event()
        self._came: dict[str, tuple[int, float]] = {}
        self.waits_s: list[float] = []
        self.count = 0

    def run(self) -> None:
        """One probe after the other, evenly spread."""
        connection = sqlite3.connect(self._database)
        turn, next_s = 0, time.monotonic()
        while not self._end.is_set():
            if time.monotonic() >= next_s:
                next_s += self._every_s / self._probes
                at_ms = time.time_ns() // 1_000_000
                self._spool.keep(said(turn, at_ms))
                self._came[f"p{turn}"] = (at_ms, time.monotonic())
                self.count += len(NAMES)
                turn = (turn + 1) % self._probes
            self._look(connection)
            self._end.wait(LOOK_S)
        while self._came and time.monotonic() < next_s + 60:
            self._look(connection)
            time.sleep(LOOK_S)
        connection.close()

    def _look(self, connection: sqlite3.Connection) -> None:
        rows = connection.execute("SELECT probe, last_ms FROM channel WHERE quantity = 'oxygen'").fetchall()
        now_s = time.monotonic()
        for probe, last_ms in rows:
            came = self._came.get(probe)
            if came is not None and last_ms >= came[0]:
                self.waits_s.append(now_s - came[1])
                del self._came[probe]

    def end(self) -> None:
        """Say nothing new; wait until what was said is judged."""
        self._end.set()
        self.join()


@contextlib.contextmanager
def upstream(way: str, folder: Path, port: int, broker_port: int) -> Iterator[Upstream]:
    """The way to the service."""
    made: Upstream
    if way == "http":
        made = Service(f"http://127.0.0.1:{port}", folder / "data")
    else:
        made = MqttService(Broker.of(Mqtt(port=broker_port), folder), "Bench", "bench", 200)
    yield made
    made.close()


def catch_up(way: str, probes: int, every_s: float, hours: float) -> Found:
    """One run."""
    with tempfile.TemporaryDirectory() as name, Mosquitto(Path(name) / "broker") as broker:
        folder, stop = Path(name), threading.Event()
        more = f"[room.mqtt]\nport = {broker.port}\n" if way == "mqtt" else ""
        spool = Spool(folder / "spool.db")
        found = Found(fill(spool, probes, every_s, hours, time.time_ns() // 1_000_000 - 5000))
        time.sleep(6)  # until none of the backlog counts as having come just now
        with service(folder, probes, more) as (port, data, _), upstream(way, folder, port, broker.port) as up:
            uplink = Uplink(spool, up, stop)
            live = Live(spool, data / "intermolt.db", probes, every_s)
            began_s = time.monotonic()
            live.start()
            uplink.start()
            while spool.waiting() > len(NAMES) * probes:
                time.sleep(0.01)
            found.took_s = time.monotonic() - began_s
            live.end()
            while spool.waiting():
                time.sleep(0.05)
            stop.set()
            spool.arrived.set()
            uplink.join(5)
            found.live, found.waits_s = live.count, live.waits_s
            found.stored, found.duplicate = stored(data / "intermolt.db"), uplink.delivered.duplicate
            found.refused = uplink.delivered.refused
        spool.close()
    return found


def stored(database: Path) -> int:
    """Readings that are not derived."""
    connection = sqlite3.connect(database)
    sql = "SELECT count(*) FROM reading JOIN channel ON id = channel WHERE NOT derived"
    (count,) = connection.execute(sql).fetchone()
    connection.close()
    return int(count)


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--hours", type=float, default=24.0)
    parser.add_argument("--probes", type=int, default=50)
    parser.add_argument("--every", type=float, default=10.0)
    parser.add_argument("--way", choices=("http", "mqtt", "both"), default="both")
    given = parser.parse_args()
    for way in ("http", "mqtt") if given.way == "both" else (given.way,):
        found = catch_up(way, given.probes, given.every, given.hours)
        lost = found.backlog + found.live - found.stored
        print(f"{way}: {found.words(given.hours * 3600)}, lost {lost}")


if __name__ == "__main__":
    main()
