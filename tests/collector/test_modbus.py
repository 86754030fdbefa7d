"""Modbus against the library's own server: RTU on crossed pseudo-terminals and TCP on loopback."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from pymodbus.simulator import DataType, SimData

from api.domain.quantity import Quantity
from api.domain.tables import Place, take
from api.domain.tank import Probe, Value
from collector.clock import now_ms
from collector.drivers.base import Batch, Surroundings
from collector.drivers.modbus import Modbus
from collector.errors import PortReason, PortTrouble
from tests.bench.rooms import free_port
from tests.support.modbus_probe import CrossedLines, ReferenceServer, reference_device
from tests.support.serial_line import SerialLine


def value(quantity: Quantity, unit: str, register: int, form: str, **keys: Any) -> Value:
    """A value as the room file would make it."""
    table = {"register": register, "type": form, **keys}
    return Value(quantity, unit, options=take(table, Modbus.VALUE_KEYS, Place("room.toml", "", "probe.value")))


def driver_of(folder: Path, *values: Value, probe: str = "p1", every_s: float = 60.0, **keys: Any) -> Modbus:
    """A driver as the room file would make it."""
    options = take({"timeout_s": 1.0, **keys}, Modbus.KEYS, Place("room.toml", "", "probe"))
    around = Surroundings(now_ms, time.monotonic, time.sleep, lambda source: None, folder)
    made = Probe(probe, "modbus", every_s=every_s, values=values, options=keys)
    Modbus.check(made, options, Place("room.toml", "", "probe"))
    return Modbus(made, options, around)


def polled(driver: Modbus, within_s: float = 5.0) -> Batch:
    """The next batch that is not empty."""
    end_s = time.monotonic() + within_s
    while time.monotonic() < end_s:
        if not (batch := driver.read(0.05)).empty:
            return batch
    return Batch()


def numbers(batch: Batch) -> list[float]:
    """Its values."""
    return [reading.value for reading in batch.readings]


DEVICES = [
    reference_device(
        1,
        [
            SimData(0, values=-2431, datatype=DataType.INT16),
            SimData(1, values=60000, datatype=DataType.UINT16),
            SimData(2, values=-100_000, datatype=DataType.INT32),
            SimData(4, values=4_000_000_000, datatype=DataType.UINT32),
            SimData(6, values=24.31, datatype=DataType.FLOAT32),
            SimData(8, values=-(2**40), datatype=DataType.INT64),
            SimData(12, values=2**63, datatype=DataType.UINT64),
            SimData(16, values=24.31, datatype=DataType.FLOAT64),
            SimData(100, count=125, values=7, datatype=DataType.REGISTERS),
        ],
        [SimData(0, values=782, datatype=DataType.UINT16)],
    ),
    reference_device(2, [SimData(0, values=2550, datatype=DataType.INT16)]),
]
# the server wrote these registers, from these numbers; 24.31 as the nearest 32 bit number (IEEE 754)
FORMS = [
    ("int16", 0, -2431.0),
    ("uint16", 1, 60000.0),
    ("int32", 2, -100_000.0),
    ("uint32", 4, 4_000_000_000.0),
    ("float32", 6, 24.309999465942383),
    ("int64", 8, -(2.0**40)),
    ("uint64", 12, 2.0**63),
    ("float64", 16, 24.31),
]


@pytest.fixture(params=["rtu", "tcp"])
def way(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[dict[str, Any]]:
    """The keys of a way to the library's server."""
    with ExitStack() as stack:
        if request.param == "tcp":
            server = stack.enter_context(ReferenceServer(DEVICES))
            yield {"host": "127.0.0.1", "tcp_port": server.port}
        else:
            near = stack.enter_context(SerialLine(tmp_path / "near"))
            far = stack.enter_context(SerialLine(tmp_path / "far"))
            stack.enter_context(CrossedLines(near, far))
            stack.enter_context(ReferenceServer(DEVICES, serial=str(far.link.resolve())))
            yield {"port": str(near.link), "parity": "none"}


def test_every_type_is_read_as_the_server_wrote_it(way: dict[str, Any], tmp_path: Path) -> None:
    """In one request where they adjoin, with one time for all."""
    quantities = list(Quantity)
    values = [value(quantities[n], "u", register, form) for n, (form, register, _) in enumerate(FORMS)]
    driver = driver_of(tmp_path, *values, **way)
    driver.open()
    before_ms = now_ms()
    batch = polled(driver)
    driver.close()
    assert numbers(batch) == [number for _, _, number in FORMS]
    assert batch.unreadable == 0
    assert {reading.time_ms for reading in batch.readings} == {batch.readings[0].time_ms}
    assert before_ms <= batch.readings[0].time_ms <= now_ms()
    assert len(driver._blocks) == 1


def test_function_four_scale_offset_and_apart_standing_registers(way: dict[str, Any], tmp_path: Path) -> None:
    """Holding and input registers of the same number are two things."""
    driver = driver_of(
        tmp_path,
        value(Quantity.TEMPERATURE, "Cel", 0, "int16", scale=0.01, offset=50.0),
        value(Quantity.OXYGEN, "mg/L", 0, "uint16", function=4, scale=0.01),
        value(Quantity.FLOW, "L/min", 224, "uint16"),
        value(Quantity.PH, "pH", 101, "uint64"),
        **way,
    )
    driver.open()
    batch = polled(driver)
    driver.close()
    assert numbers(batch) == [25.69, 7.82, 7.0, float(0x0007000700070007)]
    assert (batch.unreadable, len(driver._blocks)) == (0, 4)


def test_two_devices_share_the_way(way: dict[str, Any], tmp_path: Path) -> None:
    """Each has its own seat; one that leaves does not close it for the other."""
    drivers = [
        driver_of(
            tmp_path,
            value(Quantity.TEMPERATURE, "Cel", 0, "int16", scale=0.01),
            probe=f"p{device}",
            device=device,
            every_s=0.2,
            **way,
        )
        for device in (1, 2)
    ]
    for driver in drivers:
        driver.open()
    for _ in range(3):
        assert [numbers(polled(driver)) for driver in drivers] == [[-24.31], [25.5]]
    drivers[0].close()
    assert numbers(polled(drivers[1])) == [25.5]
    drivers[1].close()


def test_a_register_that_is_not_there_is_told_in_words_and_the_others_are_read(
    way: dict[str, Any], tmp_path: Path
) -> None:
    """The server answers with exception 2."""
    driver = driver_of(
        tmp_path,
        value(Quantity.TEMPERATURE, "Cel", 0, "int16", scale=0.01),
        value(Quantity.OXYGEN, "mg/L", 500, "int32"),
        **way,
    )
    driver.open()
    batch = polled(driver)
    driver.close()
    assert (numbers(batch), batch.unreadable) == ([-24.31], 1)
    assert batch.last_unreadable.startswith("device 1, registers 500 to 501: the probe has no register 500 to 501; ")
    assert batch.last_unreadable.endswith("(exception 2)")


def test_a_server_that_goes_is_a_trouble_and_one_that_comes_back_is_read(tmp_path: Path) -> None:
    """Over TCP the connection tells; nobody listening tells what to check."""
    values = (value(Quantity.TEMPERATURE, "Cel", 0, "int16", scale=0.01),)
    with ReferenceServer(DEVICES) as server:
        driver = driver_of(tmp_path, *values, host="127.0.0.1", tcp_port=server.port, every_s=0.1)
        driver.open()
        assert numbers(polled(driver)) == [-24.31]
    with pytest.raises(PortTrouble) as gone:
        polled(driver)
    driver.close()
    assert gone.value.reason is PortReason.UNPLUGGED
    with pytest.raises(PortTrouble, match="are address and tcp_port right, is it switched on") as missing:
        driver_of(tmp_path, *values, host="127.0.0.1", tcp_port=free_port()).open()
    assert missing.value.reason is PortReason.MISSING
    with ReferenceServer(DEVICES) as server:
        driver = driver_of(tmp_path, *values, host="127.0.0.1", tcp_port=server.port)
        driver.open()
        assert numbers(polled(driver)) == [-24.31]
        driver.close()


def test_a_host_nobody_knows_says_so(tmp_path: Path) -> None:
    """A name without an address."""
    driver = driver_of(tmp_path, value(Quantity.PH, "pH", 0, "int16"), host="no-such-host.invalid")
    with pytest.raises(PortTrouble, match="no such host is known") as caught:
        driver.open()
    assert caught.value.reason is PortReason.MISSING
