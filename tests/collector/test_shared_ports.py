"""Probes of a room file on one port, each with its own worker: all are read, all come back after it was out."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from collector.backoff import Backoff
from collector.clock import now_ms
from collector.config import load_config
from collector.spool import Spool
from collector.status import PortMood, StatusBoard
from collector.worker import Worker
from tests.collector.conftest import Until
from tests.support.modbus_probe import Device, RtuProbe
from tests.support.sdi12_probe import Sdi12Probe, Sensor
from tests.support.serial_line import SerialLine

HEAD = '[room]\nname = "r"\nzone = "UTC"\n'
SDI12 = """
[[probe]]
id = "p{n}"
driver = "sdi12"
port = "port"
address = "{n}"
bits = 8
parity = "none"
timeout_s = 0.2
tries = 2
every_s = 0.3
[[probe.value]]
quantity = "temperature"
unit = "Cel"
"""
MODBUS = """
[[probe]]
id = "p{n}"
driver = "modbus"
port = "port"
device = {n}
parity = "none"
timeout_s = 0.2
every_s = 0.3
[[probe.value]]
quantity = "temperature"
unit = "Cel"
register = 0
type = "int16"
scale = 0.01
"""


def sdi12(line: SerialLine) -> Sdi12Probe:
    """Sensors 1 and 2; 3 is not there."""
    return Sdi12Probe(line, *(Sensor(str(n), lambda command, n=n: [f"+2{n}.5"]) for n in (1, 2)))  # type: ignore[misc]


def modbus(line: SerialLine) -> RtuProbe:
    """Devices 1 and 2; 3 is not there."""
    return RtuProbe(line, {n: Device({(3, 0): 2050 + 100 * n}) for n in (1, 2)})


@contextmanager
def working(room: Path, spool: Spool) -> Iterator[StatusBoard]:
    """Workers for all probes of a room file, retrying at once."""
    config, stop = load_config(room), threading.Event()
    board = StatusBoard(now_ms, "test", lambda probe, words: None)
    quick = [Backoff(draw=lambda low, high: 0.1) for _ in config.probes]
    workers = [
        Worker(checked, config, spool, board, stop, backoff)
        for checked, backoff in zip(config.probes, quick, strict=True)
    ]
    for worker in workers:
        worker.start()
    try:
        yield board
    finally:
        stop.set()
        assert all([worker.join(3.0) for worker in workers])


@pytest.mark.parametrize(("table", "probes"), [(SDI12, sdi12), (MODBUS, modbus)])
def test_all_are_read_and_all_come_back(
    tmp_path: Path, spool: Spool, until: Until, table: str, probes: Callable[[SerialLine], Sdi12Probe | RtuProbe]
) -> None:
    """Two that answer, and one that does not, which costs the others nothing but its share of the line."""
    room = tmp_path / "room.toml"
    room.write_text(HEAD + "".join(table.format(n=n) for n in (1, 2, 3)))
    with SerialLine(tmp_path / "port") as line, working(room, spool) as board:

        def given(probe: str) -> int:
            ports = board.document(spool.state())["ports"]
            return int(next(port["readings"] for port in ports if port["probe"] == probe))

        with probes(line):
            until(lambda: given("p1") >= 3 and given("p2") >= 3)
            until(lambda: board.moods()["p3"] is PortMood.FAILING)
            assert given("p3") == 0
        line.unplug()
        until(lambda: set(board.moods().values()) == {PortMood.FAILING})
        before = {probe: given(probe) for probe in ("p1", "p2")}
        line.plug()
        with probes(line):
            until(lambda: all(given(probe) > count for probe, count in before.items()))
        line.unplug()
