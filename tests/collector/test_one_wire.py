"""1-Wire sensors in a folder like the kernel's: what is measured is read, and only that."""

from __future__ import annotations

import errno
import os
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from api.domain.errors import RoomFileError
from api.domain.quantity import Quantity
from api.domain.tables import Place, take
from api.domain.tank import Probe, Value
from collector.clock import now_ms
from collector.codecs.one_wire import celsius, celsius_of_bytes, crc8
from collector.config import load_config
from collector.drivers import one_wire
from collector.drivers.base import Surroundings
from collector.drivers.one_wire import OneWire
from collector.errors import PortReason, PortTrouble
from tests.support.one_wire_tree import OneWireTree, checksum, lines

SENSOR = "28-0316a4c21bff"
KERNEL = "72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n"
"""A reading as it is shown in many descriptions of the kernel's driver."""
VALUES = (Value(Quantity.TEMPERATURE, "Cel"),)
NOWHERE = Place("room.toml", "", "probe")


@pytest.fixture
def tree(tmp_path: Path) -> OneWireTree:
    """A wire without sensors."""
    return OneWireTree(tmp_path / "devices")


def driver_on(tree: OneWireTree, probe: str = "p1", every_s: float = 60.0, **keys: Any) -> OneWire:
    """A driver as the room file would make it."""
    made = Probe(probe, "one_wire", every_s=every_s, values=VALUES)
    options = take({"devices": "devices", **keys}, OneWire.KEYS, NOWHERE)
    OneWire.check(made, options, NOWHERE)
    around = Surroundings(now_ms, time.monotonic, time.sleep, lambda source: None, tree.devices.parent)
    return OneWire(made, options, around)


@pytest.fixture
def opened(tree: OneWireTree) -> Iterator[OneWire]:
    """A driver on the only sensor of the wire, asked at every read."""
    tree.set(SENSOR, 24312)
    driver = driver_on(tree, every_s=0.1)
    driver.open()
    yield driver
    driver.close()


def test_checksums_are_those_of_the_bus() -> None:
    """CRC-8/MAXIM-DOW's check value in the catalogue of parametrised CRCs, and the kernel's own line."""
    assert crc8(b"123456789") == 0xA1
    assert crc8(bytes.fromhex("72014b467fff0e10")) == 0x57
    assert celsius_of_bytes(KERNEL, "28") == 23.125


@given(st.binary(min_size=8, max_size=8))
@settings(max_examples=200, deadline=None)
def test_the_checksum_is_the_remainder_of_a_long_division(data: bytes) -> None:
    """Computed another way."""
    assert crc8(data) == checksum(data)


def test_it_is_read_on_its_beat(opened: OneWire, tree: OneWireTree) -> None:
    """In Celsius, with the present as its time; below zero too."""
    before_ms = now_ms()
    (reading,) = opened.read(1.0).readings
    assert (reading.probe, reading.quantity, reading.value, reading.unit) == ("p1", "temperature", 24.312, "Cel")
    assert before_ms <= reading.time_ms <= now_ms()
    tree.set(SENSOR, -1312)
    assert [reading.value for reading in opened.read(1.0).readings] == [-1.312]


REFUSED = [
    ("power-on", lines(bytes.fromhex("50054b467fff0c10"), "85000"), "85 is what a sensor says that has just got power"),
    ("85 otherwise", lines(bytes.fromhex("50054b467fff0010"), "85000"), "85 is what a sensor says"),
    ("absent", lines(bytes.fromhex("85014b467fff0e10"), "-127000"), "does not fit its bytes"),
    ("t missing", lines(bytes.fromhex("85014b467fff0e10"), "").replace(" t=", " "), "t= is missing"),
    ("t empty", lines(bytes.fromhex("85014b467fff0e10"), ""), "nothing stands there"),
    ("t no number", lines(bytes.fromhex("85014b467fff0e10"), "ERR"), "'ERR' is not a number"),
    ("t of another", lines(bytes.fromhex("85014b467fff0e10"), "23125"), "does not fit its bytes, which say 24.3125"),
    ("too hot", lines(bytes.fromhex("ff074b467fff0c10"), "127937"), "127.937 is outside what the sensor can measure"),
    ("short circuit", lines(bytes(8), "0"), "all bytes are zero"),
    ("NO", KERNEL.replace("YES", "NO"), "the checksum is wrong"),
    ("YES of wrong bytes", KERNEL.replace("72 01", "73 01"), "the checksum is wrong"),
    ("NO of nothing", "ff " * 9 + ": crc=c9 NO\n" + "00 " * 9 + "t=0\n", "the checksum is wrong"),
    ("kept line", KERNEL[:40] + KERNEL[40:].replace("72", "71"), "the two lines are of different readings"),
    ("half", KERNEL[:50], "is not the two lines"),
    ("doubled", KERNEL + KERNEL, "is not the two lines"),
    ("garbage", "\x00\xff garbage", "is not the two lines"),
]


@pytest.mark.parametrize(("kind", "text", "words"), REFUSED, ids=[row[0] for row in REFUSED])
def test_what_was_not_measured_is_counted_with_its_reason(
    opened: OneWire, tree: OneWireTree, kind: str, text: str, words: str
) -> None:
    """And the next good one is read."""
    tree.write(SENSOR, text)
    batch = opened.read(1.0)
    assert (batch.readings, batch.unreadable) == ((), 1)
    assert batch.last_unreadable.startswith(f"{SENSOR}: ")
    assert words in batch.last_unreadable
    tree.set(SENSOR, 20500)
    assert [reading.value for reading in opened.read(1.0).readings] == [20.5]


def test_a_spoilt_reading_is_asked_for_once_more(
    opened: OneWire, tree: OneWireTree, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Noise on the wire costs nothing then; twice in a row it is counted."""
    texts = [KERNEL.replace("YES", "NO"), KERNEL, *[KERNEL.replace("YES", "NO")] * 2, KERNEL]
    monkeypatch.setattr(one_wire, "_text", lambda path: texts.pop(0))
    assert [reading.value for reading in opened.read(1.0).readings] == [23.125]
    assert opened.read(1.0).unreadable == 1
    assert [reading.value for reading in opened.read(1.0).readings] == [23.125]


def test_errors_of_the_bus_are_counted_and_others_told(
    opened: OneWire, tree: OneWireTree, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The kernel answers EIO or EAGAIN for a moment's trouble, and EACCES to who may not ask."""
    for number, words in ((errno.EIO, "did not answer well"), (errno.EAGAIN, "did not answer well")):
        monkeypatch.setattr(one_wire, "_text", _failing(number))
        assert words in opened.read(1.0).last_unreadable
    monkeypatch.setattr(one_wire, "_text", _failing(errno.EACCES))
    with pytest.raises(PortTrouble, match="not allowed to read it") as caught:
        opened.read(1.0)
    assert caught.value.reason is PortReason.REFUSED


def _failing(number: int) -> Any:
    def text(path: Path) -> str:
        raise OSError(number, os.strerror(number))

    return text


def test_the_newer_file_is_enough(tree: OneWireTree) -> None:
    """``temperature`` alone, with the same refusals; empty while it measures."""
    tree.write(SENSOR, "24312\n", "temperature")
    driver = driver_on(tree, every_s=0.1)
    driver.open()
    assert [reading.value for reading in driver.read(1.0).readings] == [24.312]
    tree.write(SENSOR, "\n", "temperature")
    assert driver.read(1.0).empty
    for text, words in (("85000\n", "85 is what"), ("-127000\n", "-127 is no"), ("x", "not a number")):
        tree.write(SENSOR, text, "temperature")
        assert words in driver.read(1.0).last_unreadable
    driver.close()


def test_a_sensor_that_is_taken_off_says_what_to_check(opened: OneWire, tree: OneWireTree) -> None:
    """With the names of those that are still there; plugged in again it is read again."""
    tree.set("28-000000000001", 20000)
    tree.pull(SENSOR)
    with pytest.raises(PortTrouble) as caught:
        opened.read(1.0)
    assert caught.value.reason is PortReason.MISSING
    assert "check its three wires, its power and the pull-up resistor; there now: 28-000000000001" in str(caught.value)
    driver = driver_on(tree, device=SENSOR)
    with pytest.raises(PortTrouble, match=f"sensor {SENSOR} is not on the wire"):
        driver.open()
    tree.set(SENSOR, 20500)
    driver.open()
    assert [reading.value for reading in driver.read(1.0).readings] == [20.5]


def test_without_a_name_there_must_be_one_sensor(tree: OneWireTree) -> None:
    """Else the names are listed, to be copied."""
    with pytest.raises(PortTrouble, match="no sensor at all"):
        driver_on(tree).open()
    for number in (2, 1):
        tree.set(f"28-00000000000{number}", 20000)
    with pytest.raises(PortTrouble, match="Write device = one of: 28-000000000001, 28-000000000002"):
        driver_on(tree).open()


def test_a_computer_without_1_wire_says_so(tmp_path: Path) -> None:
    """Which module is missing."""
    tree = OneWireTree(tmp_path / "devices")
    with pytest.raises(PortTrouble, match="is 1-Wire switched on"):
        driver_on(tree, devices="nothing").open()


WRONG = [
    ('device = "28-1"', "device = '28-1' is no temperature sensor. Write the name of its folder"),
    ('unit = "[degF]"', "gives its temperature in Cel and nothing else"),
    ('quantity = "ph"', "gives its temperature in Cel and nothing else"),
    ('unit = "Cel"\nfield = 1', "has no field or key"),
]


@pytest.mark.parametrize(("change", "words"), WRONG)
def test_keys_that_cannot_be_meant(tmp_path: Path, change: str, words: str) -> None:
    """Named with their line."""
    text = '[room]\nname = "r"\nzone = "UTC"\n[[probe]]\nid = "p1"\ndriver = "one_wire"\ndevice = "28-0316a4c21bff"\n'
    text += '[[probe.value]]\nquantity = "temperature"\nunit = "Cel"\n'
    key = change.split(" ")[0]
    old = next(line for line in text.splitlines() if line.startswith(key))
    (tmp_path / "room.toml").write_text(text.replace(old, change))
    with pytest.raises(RoomFileError, match="line ") as caught:
        load_config(tmp_path / "room.toml")
    assert words in str(caught.value)
    second = text[text.index("[[probe]]") :].replace("p1", "p2")
    (tmp_path / "room.toml").write_text(text + second)
    with pytest.raises(RoomFileError, match=f"both have device = '{SENSOR}'"):
        load_config(tmp_path / "room.toml")


def test_many_sensors_on_a_slow_wire(tree: OneWireTree, monkeypatch: pytest.MonkeyPatch) -> None:
    """Forty probes, one measurement at a time as in the kernel: each gets its own sensor's value."""
    wire = threading.Lock()
    names = [f"28-{number:012x}" for number in range(40)]
    for number, name in enumerate(names):
        tree.set(name, 20000 + number * 125)
    plain = one_wire._text

    def slow(path: Path) -> str:
        with wire:
            time.sleep(0.01)
            return plain(path)

    monkeypatch.setattr(one_wire, "_text", slow)
    got: dict[str, float] = {}

    def work(name: str) -> None:
        driver = driver_on(tree, "p" + name, device=name)
        driver.open()
        got[name] = driver.read(1.0).readings[0].value
        driver.close()

    threads = [threading.Thread(target=work, args=(name,)) for name in names]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert got == {name: 20.0 + number * 0.125 for number, name in enumerate(names)}


@given(
    st.one_of(
        st.text(max_size=200),
        st.builds(lambda data, text, verdict: lines(data, text, verdict), st.binary(min_size=8, max_size=8),
                  st.from_regex(r"-?[0-9]{1,6}", fullmatch=True), st.sampled_from(["YES", "NO"])),
        st.builds(lambda at, letter: KERNEL[:at] + letter + KERNEL[at + 1 :], st.integers(0, len(KERNEL) - 1),
                  st.characters(codec="ascii")),
    )
)  # fmt: skip
@example(KERNEL)
@settings(max_examples=10_000, deadline=None)
def test_ten_thousand_random_texts(text: str) -> None:
    """Whatever is accepted is what the nine bytes say, within a sixteenth of a degree, and never 85."""
    try:
        value = celsius_of_bytes(text, "28")
    except ValueError:
        return
    data = bytes.fromhex(text[:26])
    assert checksum(data[:8]) == data[8]
    assert abs(value - int.from_bytes(data[:2], "little", signed=True) / 16) <= 0.063
    assert value != 85.0
    assert -55 <= value <= 125


@given(st.text(max_size=20))
@settings(max_examples=1000, deadline=None)
def test_random_texts_of_the_newer_file(text: str) -> None:
    """A number of thousandths or a reason."""
    try:
        value = celsius(text)
    except ValueError:
        return
    assert value == float(text.strip()) / 1000
