"""The whole line through a real broker, on production processes: kills and cuts lose and double nothing.

``INTERMOLT_KILLS`` sets how often something is killed or cut (12 unless told), for each version of MQTT.
"""

from __future__ import annotations

import os
import random
import sqlite3
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.bench.rooms import free_port
from tests.support.http_receiver import Receiver, body
from tests.support.mosquitto import Mosquitto
from tests.support.processes import Processes
from tests.support.serial_line import SerialLine
from tests.support.tcp_proxy import TcpProxy
from tests.test_crash import PROBE, NumberedProbe

PROBES = 3
KILLS = int(os.environ.get("INTERMOLT_KILLS", "12"))
ROOM = """
[room]
name = "Mill room"
zone = "UTC"
[room.service]
port = {port}
[room.collector]
uplink = "mqtt"
service = "http://127.0.0.1:9"
[room.mqtt]
port = {broker}
version = "{version}"
"""


def _until(true: Callable[[], bool], within_s: float) -> bool:
    end_s = time.monotonic() + within_s
    while not true() and time.monotonic() < end_s:
        time.sleep(0.1)
    return true()


def _kept(database: Path) -> dict[str, list[float]]:
    connection = sqlite3.connect(database)
    try:
        rows = connection.execute("SELECT probe, raw FROM reading JOIN channel ON id = channel ORDER BY 1, 2")
        out: dict[str, list[float]] = {}
        for probe, value in rows:
            out.setdefault(probe, []).append(value)
        return out
    finally:
        connection.close()


def _break(name: str, processes: Processes, broker: Mosquitto, network: TcpProxy, rest_s: float) -> None:
    if name == "broker":
        broker.kill()
        time.sleep(rest_s)
        broker.start()
    elif name == "network":
        network.cut()
        time.sleep(rest_s)
        network.mend()
    else:
        processes.kill(name)
        processes.start(name, wait=False)


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_sent_is_stored_whatever_is_killed_or_cut(version: str, tmp_path: Path) -> None:
    """Service, collector and broker by kill -9, the network between; afterwards each number stands there once."""
    chance = random.Random(20261125)
    port, stop = free_port(), threading.Event()
    lines = [SerialLine(tmp_path / f"line-{number}") for number in range(PROBES)]
    probes = [NumberedProbe(line, stop) for line in lines]
    database = tmp_path / "data" / "intermolt.db"
    with Mosquitto(tmp_path / "broker") as broker, TcpProxy(broker.port) as network:
        text = ROOM.format(port=port, broker=network.port, version=version)
        text += "".join(PROBE.format(number=number, line=line.link) for number, line in enumerate(lines))
        room = tmp_path / "room.toml"
        room.write_text(text, encoding="utf-8")
        with Processes(room, tmp_path / "data", port) as processes:
            processes.start("service")
            processes.start("collector")
            for probe in probes:
                probe.start()
            victims = ["service", "collector", "broker", "network"]
            chance.shuffle(victims)
            for number in range(KILLS):
                time.sleep(chance.uniform(0.3, 1.5))
                _break(victims[number % len(victims)], processes, broker, network, chance.uniform(0.1, 0.8))
            time.sleep(2)
            stop.set()
            for probe in probes:
                probe.join()
            told = {f"p{number}": probe.acknowledged for number, probe in enumerate(probes)}
            _until(lambda: all(len(_kept(database).get(p, ())) >= n for p, n in told.items()), 90)
            time.sleep(1)
    kept = _kept(database)
    for line in lines:
        line.unplug()
    print(f"broken {KILLS} times, sent {told}, stored { {probe: len(values) for probe, values in kept.items()} }")
    assert min(told.values()) > KILLS
    for name, count in told.items():
        # A line committed in the very moment of a kill may be one more than the probe knows of.
        assert kept[name] in ([float(n) for n in range(1, count + 1)], [float(n) for n in range(1, count + 2)])


WARM = """
[[tank]]
id = "N7"
name = "Nursery 7"
care = "quick"
[[probe]]
id = "n7"
tank = "N7"
driver = "serial_lines"
port = "{line}"
every_s = 1
[[probe.value]]
quantity = "temperature"
unit = "Cel"
[[care]]
name = "quick"
[care.temperature]
target_low = 20.0
danger_high = 30.0
danger_on_delay_s = 0
on_delay_s = 0
[[notify]]
name = "hook"
url = "{hook}"
"""


def test_a_room_without_http_between_collector_and_service_still_warns(tmp_path: Path) -> None:
    """Readings and the collector's word of itself come through the broker alone."""
    port = free_port()
    with Mosquitto(tmp_path / "broker") as broker, Receiver() as hook, SerialLine(tmp_path / "line") as line:
        hook.always = body(b"{}")
        room = tmp_path / "room.toml"
        text = ROOM.format(port=port, broker=broker.port, version="5")
        text += WARM.format(line=line.link, hook=hook.url.replace("http://", "json://"))
        room.write_text(text, encoding="utf-8")
        with Processes(room, tmp_path / "data", port) as processes:
            processes.start("service")
            processes.start("collector")
            for _ in range(100):
                line.say("31.5\r\n")
                if _until(lambda: bool(hook.requests), 0.2):
                    break
            assert hook.requests
            connection = sqlite3.connect(tmp_path / "data" / "intermolt.db")
            try:
                assert _until(lambda: connection.execute("SELECT name FROM collector").fetchall() == [("main",)], 10)
            finally:
                connection.close()
