"""The same promises, kept by every driver in the table."""

from __future__ import annotations

import inspect
import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pytest

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.roomkeys import VALUE
from api.domain.tables import Key, Place, take
from api.domain.tank import Probe, Value
from collector.clock import now_ms
from collector.config import COMMON
from collector.drivers.base import Batch, Driver, Surroundings
from collector.drivers.table import DRIVERS, driver_class
from collector.errors import PortTrouble
from tests.support.broker import Broker
from tests.support.modbus_probe import Device, RtuProbe
from tests.support.one_wire_tree import OneWireTree, lines
from tests.support.sdi12_probe import Sdi12Probe, Sensor
from tests.support.serial_line import SerialLine

VALUES = (Value(Quantity.TEMPERATURE, "Cel", field=1),)
REGISTER = {"register": 0, "type": "int16", "scale": 0.01, "none_value": 0x7FFF}


@dataclass
class Source:
    """A real source of one driver: how it says a line, and how it goes away."""

    driver: type[Driver]
    options: dict[str, object]
    folder: Path
    line: SerialLine | None = None
    values: tuple[Value, ...] = VALUES
    tell: Callable[[str], None] | None = None
    """How a probe that speaks only when it is asked is told what to say next."""
    garbled: str = "ERR' is not a number"
    """What is said of ``ERR``."""
    running: ExitStack | None = None
    """A probe that listens on a thread, and its line; both end with it."""

    def make(self) -> Driver:
        """A driver on it."""
        around = Surroundings(now_ms, time.monotonic, time.sleep, lambda source: None, self.folder)
        options = take(self.options, self.driver.KEYS, Place("room.toml", "", "probe"))
        probe = Probe("p1", "x", every_s=0.1, values=self.values)
        self.driver.check(probe, options, Place("room.toml", "", "probe"))
        return self.driver(probe, options, around)

    def say(self, text: str) -> None:
        """One line from the probe."""
        if self.tell is not None:
            self.tell(text.strip())
        elif self.line is not None:
            self.line.say(text)
        else:
            with (self.folder / "log.csv").open("a") as file:
                file.write(text)

    def vanish(self) -> None:
        """The source goes away for good."""
        if self.running is not None:
            self.running.close()
        elif self.line is not None:
            self.line.unplug()
        else:
            (self.folder / "log.csv").unlink()


def sdi12(driver: type[Driver], folder: Path, stack: ExitStack) -> Source:
    """A sensor that measures what it was told, once, and is silent when it was told nothing."""
    line = stack.enter_context(SerialLine(folder / "port"))
    said: deque[str] = deque()
    sensor = Sensor("0", lambda command: [f"+{said.popleft()}"] if said else None)
    stack.enter_context(Sdi12Probe(line, sensor))
    options = {"port": str(line.link), "bits": 8, "parity": "none", "break": False, "timeout_s": 0.1, "tries": 1}
    return Source(driver, options, folder, line, tell=said.append, running=stack)


def modbus(driver: type[Driver], folder: Path, stack: ExitStack) -> Source:
    """A device with one register, silent until it was told something; ERR is its word for no value."""
    line = stack.enter_context(SerialLine(folder / "port"))
    device = Device({(3, 0): 0})
    device.silent = True

    def tell(text: str) -> None:
        device.registers[3, 0] = 0x7FFF if text == "ERR" else round(float(text) * 100)
        device.silent = False

    stack.enter_context(RtuProbe(line, {1: device}))
    keys = take(REGISTER, driver.VALUE_KEYS, Place("room.toml", "", "probe.value"))
    values = (Value(Quantity.TEMPERATURE, "Cel", options=keys),)
    options = {"port": str(line.link), "parity": "none", "timeout_s": 0.1, "tries": 1}
    return Source(driver, options, folder, line, values, tell, "32767 is its word for no value", stack)


def one_wire(driver: type[Driver], folder: Path, stack: ExitStack) -> Source:
    """A sensor in a folder like the kernel's, which measures what it was told, and nothing before."""
    tree, sensor = OneWireTree(folder / "devices"), "28-0316a4c21bff"
    tree.write(sensor, "")

    def tell(text: str) -> None:
        thousandths = text if text == "ERR" else f"{float(text) * 1000:.0f}"
        tree.write(sensor, lines(bytes.fromhex("85014b467fff0e10"), thousandths))  # its bytes say 24.3125

    stack.callback(lambda: tree.pull(sensor))
    values = (Value(Quantity.TEMPERATURE, "Cel"),)
    return Source(driver, {"devices": "devices"}, folder, values=values, tell=tell, running=stack)


def mqtt_topics(driver: type[Driver], folder: Path, stack: ExitStack) -> Source:
    """A probe that publishes on a broker, which goes away for good."""
    broker = stack.enter_context(Broker(folder / "broker"))
    values = (Value(Quantity.TEMPERATURE, "Cel", options={"topic": "t/1", "pointer": None}),)
    options = {"host": "127.0.0.1", "port": broker.port}
    return Source(driver, options, folder, values=values, tell=partial(broker.publish, "t/1"), running=stack)


ASKED = {"mqtt_topics": mqtt_topics, "sdi12": sdi12, "modbus": modbus, "one_wire": one_wire}


@pytest.fixture(params=sorted(DRIVERS))
def source(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Source]:
    """Each driver of the table on a source of its kind; a driver without one here fails the test."""
    driver = driver_class(request.param)
    if request.param == "serial_lines":
        with SerialLine(tmp_path / "port") as line:
            yield Source(driver, {"port": str(line.link)}, tmp_path, line)
    elif request.param == "csv_rows":
        (tmp_path / "log.csv").touch()
        yield Source(driver, {"path": "log.csv", "header": False}, tmp_path)
    elif request.param in ASKED:
        with ExitStack() as stack:
            yield ASKED[request.param](driver, tmp_path, stack)
    else:
        pytest.fail(f"driver {request.param} needs a source in this test")


def next_batch(driver: Driver, for_s: float = 2.0) -> Batch:
    """The next batch that is not empty, waiting a little for it."""
    end_s = time.monotonic() + for_s
    while (batch := driver.read(0.05)).empty and time.monotonic() < end_s:
        continue
    return batch


def values_of(driver: Driver) -> list[float]:
    """The values of the next batch."""
    return [reading.value for reading in next_batch(driver).readings]


def test_it_is_a_driver_with_typed_keys_none_of_them_taken(source: Source) -> None:
    """Its keys do not collide with those every probe has."""
    assert not inspect.isabstract(source.driver)
    assert all(isinstance(key, Key) for key in source.driver.KEYS)
    names = [key.name for key in source.driver.KEYS]
    assert len(names) == len(set(names))
    assert not set(names) & set(COMMON)
    assert all(isinstance(key, Key) for key in source.driver.VALUE_KEYS)
    assert not {key.name for key in source.driver.VALUE_KEYS} & {key.name for key in VALUE}


def test_making_one_touches_nothing(source: Source) -> None:
    """``open`` is where the world begins."""
    source.vanish()
    driver = source.make()
    with pytest.raises(PortTrouble) as caught:
        driver.open()
    assert caught.value.probe == "p1"
    driver.close()


def test_nothing_to_read_is_an_empty_batch_within_the_wait(source: Source) -> None:
    """Not an error, and not a long one."""
    driver = source.make()
    driver.open()
    start_s = time.monotonic()
    assert driver.read(0.1).empty
    assert time.monotonic() - start_s < 0.5
    driver.close()


def test_a_reading_carries_probe_quantity_unit_and_the_present(source: Source) -> None:
    """In the probe's own unit."""
    driver = source.make()
    driver.open()
    source.say("24.31\n")
    readings: list[RawReading] = []
    before_ms = now_ms()
    while not readings:
        readings += driver.read(0.05).readings
    (reading,) = readings
    assert (reading.probe, reading.quantity, reading.value, reading.unit) == ("p1", "temperature", 24.31, "Cel")
    assert abs(reading.time_ms - before_ms) < 1000
    driver.close()


def test_unreadable_text_is_counted_never_raised(source: Source) -> None:
    """And the next line is read."""
    driver = source.make()
    driver.open()
    source.say("ERR\n")
    batch = next_batch(driver)
    assert (batch.readings, batch.unreadable) == ((), 1)
    assert source.garbled in batch.last_unreadable
    source.say("24.31\n")
    assert values_of(driver) == [24.31]
    driver.close()


def test_acknowledging_a_batch_raises_nothing_and_reading_goes_on(source: Source) -> None:
    """Whether or not the source cares."""
    driver = source.make()
    driver.open()
    source.say("24.31\n")
    driver.acknowledge(next_batch(driver))
    source.say("24.32\n")
    assert values_of(driver) == [24.32]
    driver.close()


def test_closing_is_always_allowed(source: Source) -> None:
    """Before opening, twice, and after the source has gone."""
    driver = source.make()
    driver.close()
    driver.open()
    source.vanish()
    driver.close()
    driver.close()


def test_a_new_one_can_read_where_the_old_one_was_closed(source: Source) -> None:
    """As the worker does after trouble."""
    first = source.make()
    first.open()
    first.close()
    second = source.make()
    second.open()
    source.say("24.31\n")
    assert values_of(second) == [24.31]
    second.close()
