"""SDI-12 sensors on a real pseudo-terminal: measured by every command, several on one line, pulled out."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.tables import Place, take
from api.domain.tank import Probe, Value
from collector.clock import now_ms
from collector.drivers.base import Batch, Surroundings
from collector.drivers.sdi12 import UNANSWERED_LIMIT, Sdi12
from collector.errors import PortReason, PortTrouble
from tests.support.sdi12_probe import Sdi12Probe, Sensor
from tests.support.serial_line import SerialLine

VALUES = (Value(Quantity.TEMPERATURE, "Cel", field=1), Value(Quantity.OXYGEN, "mg/L", field=2))


@pytest.fixture
def line(tmp_path: Path) -> Iterator[SerialLine]:
    """A line to the sensors."""
    with SerialLine(tmp_path / "port") as plugged:
        yield plugged


def driver_on(
    line: SerialLine, probe: str = "p1", every_s: float = 60.0, values: tuple[Value, ...] = VALUES, **keys: Any
) -> Sdi12:
    """A driver as the room file would make it; a pseudo-terminal has no parity."""
    table = {"port": str(line.link), "bits": 8, "parity": "none", "timeout_s": 0.1, "tries": 2, **keys}
    options = take(table, Sdi12.KEYS, Place("room.toml", "", "probe"))
    around = Surroundings(now_ms, time.monotonic, time.sleep, lambda source: None, line.link.parent)
    made = Probe(probe, "sdi12", every_s=every_s, values=values)
    Sdi12.check(made, options, Place("room.toml", "", "probe"))
    return Sdi12(made, options, around)


def measured(driver: Sdi12, within_s: float = 3.0) -> Batch:
    """The next batch that is not empty."""
    end_s = time.monotonic() + within_s
    while time.monotonic() < end_s:
        if not (batch := driver.read(0.05)).empty:
            return batch
    return Batch()


def numbers(batch: Batch) -> list[float]:
    """Its values."""
    return [reading.value for reading in batch.readings]


@pytest.mark.parametrize(
    ("command", "crc", "sent"),
    [
        ("M", False, ["0M!", "0D0!"]),
        ("M3", True, ["0MC3!", "0D0!"]),
        ("C", False, ["0C!", "0D0!"]),
        ("C1", True, ["0CC1!", "0D0!"]),
        ("R0", False, ["0R0!"]),
        ("R2", True, ["0RC2!"]),
    ],
)
def test_every_kind_of_measurement(line: SerialLine, command: str, crc: bool, sent: list[str]) -> None:
    """One time for all values of a measurement, in the probe's own units."""
    asked: list[str] = []
    sensor = Sensor("0", lambda name: [asked.append(name) or "+24.31", "-7.82"])  # type: ignore[func-returns-value]
    with Sdi12Probe(line, sensor) as probe:
        driver = driver_on(line, command=command, crc=crc)
        driver.open()
        before_ms = now_ms()
        batch = measured(driver)
        driver.close()
    assert [(r.probe, r.quantity, r.value, r.unit) for r in batch.readings] == [
        ("p1", Quantity.TEMPERATURE, 24.31, "Cel"),
        ("p1", Quantity.OXYGEN, -7.82, "mg/L"),
    ]
    assert len({r.time_ms for r in batch.readings}) == 1
    assert before_ms <= batch.readings[0].time_ms <= now_ms()
    assert (probe.commands, asked, batch.unreadable) == (sent, [command], 0)


def test_a_service_request_ends_the_wait_and_the_time_is_that_of_the_measurement(line: SerialLine) -> None:
    """Promised in 5 s, ready after 0.2 s."""
    with Sdi12Probe(line, Sensor("0", lambda name: ["+24.31", "+7.82"], takes_s=5, ready_after_s=0.2)):
        driver = driver_on(line)
        driver.open()
        start_s, start_ms = time.monotonic(), now_ms()
        (first, _) = measured(driver).readings
        driver.close()
    assert 0.2 <= time.monotonic() - start_s < 2.0
    assert 200 <= first.time_ms - start_ms < 1000


@pytest.mark.parametrize("command", ["M", "C"])
def test_without_a_service_request_the_promised_time_is_waited_in_short_reads(line: SerialLine, command: str) -> None:
    """No read is longer than it was asked to be."""
    with Sdi12Probe(line, Sensor("0", lambda name: ["+24.31", "+7.82"], takes_s=1)):
        driver = driver_on(line, command=command)
        driver.open()
        start_s, longest_s, got = time.monotonic(), 0.0, Batch()
        while got.empty and time.monotonic() - start_s < 4.0:
            before_s = time.monotonic()
            got = driver.read(0.05)
            longest_s = max(longest_s, time.monotonic() - before_s)
        driver.close()
    assert numbers(got) == [24.31, 7.82]
    assert 1.0 <= time.monotonic() - start_s < 2.5
    assert longest_s < 0.3


def test_nine_long_values_come_in_several_answers(line: SerialLine) -> None:
    """35 letters of values in each (section 4.4, from memory)."""
    texts = [f"+{n}.12345" for n in range(1, 10)]
    with Sdi12Probe(line, Sensor("0", lambda name: texts)) as probe:
        driver = driver_on(line)
        driver.open()
        batch = measured(driver)
        driver.close()
    assert numbers(batch) == [1.12345, 2.12345]
    assert probe.commands == ["0M!", "0D0!", "0D1!", "0D2!"]


def test_it_measures_on_its_beat(line: SerialLine) -> None:
    """Each measurement with a later time."""
    with Sdi12Probe(line, Sensor("0", lambda name: ["+24.31", "+7.82"])):
        driver = driver_on(line, every_s=0.3)
        driver.open()
        start_s = time.monotonic()
        times = [measured(driver).readings[0].time_ms for _ in range(4)]
        took_s = time.monotonic() - start_s
        driver.close()
    assert times == sorted(set(times))
    assert 0.85 <= took_s < 1.6


def test_three_sensors_share_a_port_and_none_talks_into_anothers_measurement(line: SerialLine) -> None:
    """M keeps the line; each probe has its own thread, as in the collector."""
    sensors = [
        Sensor(str(n), lambda name, n=n: [f"+2{n}.5", f"+{n}"], takes_s=1, ready_after_s=0.1)  # type: ignore[misc]
        for n in range(3)
    ]
    got: dict[str, list[float]] = {}

    def work(address: str) -> None:
        driver = driver_on(line, f"p{address}", address=address, every_s=0.5)
        driver.open()
        got[address] = [value for _ in range(3) for value in numbers(measured(driver, 10.0))]
        driver.close()

    with Sdi12Probe(line, *sensors) as probe:
        threads = [threading.Thread(target=work, args=(str(n),)) for n in range(3)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(15.0)
    assert got == {str(n): [20.5 + n, float(n)] * 3 for n in range(3)}
    pairs = [tuple(probe.commands[at : at + 2]) for at in range(0, len(probe.commands), 2)]
    assert all(start[0] == data[0] and (start[1:], data[1:]) == ("M!", "D0!") for start, data in pairs)


def test_concurrent_measurements_wait_side_by_side(line: SerialLine) -> None:
    """Two sensors of one second each are both done in less than two."""
    sensors = [Sensor(address, lambda name: ["+24.31", "+7.82"], takes_s=1) for address in "ab"]
    with Sdi12Probe(line, *sensors) as probe:
        # patient enough for a busy machine: an answer that comes late would be asked for once more
        drivers = [driver_on(line, f"p{address}", address=address, command="C", timeout_s=1.0) for address in "ab"]
        for driver in drivers:
            driver.open()
        start_s = time.monotonic()
        got: dict[str, list[float]] = {}
        while len(got) < 2 and time.monotonic() - start_s < 4.0:
            for driver in drivers:
                if not (batch := driver.read(0.02)).empty:
                    got[driver.probe.id] = numbers(batch)
        took_s = time.monotonic() - start_s
        for driver in drivers:
            driver.close()
    assert got == {"pa": [24.31, 7.82], "pb": [24.31, 7.82]}
    assert took_s < 1.9
    assert probe.commands == ["aC!", "bC!", "aD0!", "bD0!"]


def test_a_sensor_says_who_it_is(line: SerialLine) -> None:
    """In words; one that is not there is a trouble with what to check."""
    with Sdi12Probe(line, Sensor("0", lambda name: None)):
        driver = driver_on(line)
        driver.open()
        assert driver.identify() == "address 0, SDI-12 1.4, EXAMPLE, model PROBE1, version 100, A7"
        driver.close()
        absent = driver_on(line, address="5")
        absent.open()
        with pytest.raises(PortTrouble, match="no answer from address '5'; check power") as caught:
            absent.identify()
        absent.close()
    assert caught.value.reason is PortReason.SILENT


def test_an_absent_sensor_is_reported_and_the_others_go_on(line: SerialLine) -> None:
    """It leaves the line after some measurements without a sign of life, an adapter's echo not being one."""
    with Sdi12Probe(line, Sensor("1", lambda name: ["+24.31", "+7.82"])) as probe:
        probe.echo = True
        here, absent = driver_on(line, "p1", address="1", every_s=0.1), driver_on(line, "p2", every_s=0.1, tries=1)
        here.open()
        absent.open()
        read: list[RawReading] = []

        def listen() -> None:
            for _ in range(200):
                absent.read(0.05)
                read.extend(here.read(0.05).readings)

        with pytest.raises(PortTrouble, match=f"{UNANSWERED_LIMIT} times in a row no answer from address '0'"):
            listen()
        absent.close()
        assert numbers(measured(here)) == [24.31, 7.82]
        here.close()
    assert len(read) >= 4


def test_pulled_out_and_plugged_in_again(line: SerialLine) -> None:
    """The link is followed anew, and the sensor is measured again."""
    probe = Sdi12Probe(line, Sensor("0", lambda name: ["+24.31", "+7.82"]))
    probe.start()
    driver = driver_on(line, every_s=0.1)
    driver.open()
    assert numbers(measured(driver)) == [24.31, 7.82]
    probe.stop()
    line.unplug()
    with pytest.raises(PortTrouble) as gone:
        measured(driver)
    driver.close()
    assert gone.value.reason is PortReason.UNPLUGGED
    with pytest.raises(PortTrouble):
        driver_on(line).open()
    line.plug()
    probe.start()
    again = driver_on(line)
    again.open()
    assert numbers(measured(again)) == [24.31, 7.82]
    again.close()
    probe.stop()
