"""1-Wire temperature sensors through the Linux kernel, which keeps a folder for each under /sys/bus/w1/devices.

Must not do: talk on the wire itself, or believe a number that the kernel's own bytes do not bear out.

Reading one takes up to a second: the kernel measures when it is asked, one sensor after the other.
"""

from __future__ import annotations

import errno
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, ClassVar

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.tables import Key, Place
from api.domain.tank import Probe
from collector.codecs.one_wire import ChecksumWrong, celsius, celsius_of_bytes
from collector.drivers.base import EMPTY, Batch, Driver, Surroundings
from collector.errors import PortReason, PortTrouble
from collector.schedule import Schedule

FAMILIES = ("10", "22", "28", "3b", "42")
SENSOR = re.compile(rf"({'|'.join(FAMILIES)})-[0-9a-f]{{12}}\Z")
MOST_BYTES = 4096
TRIES = 2
UNIT = "Cel"
GONE = (errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.ENOTDIR)


class OneWire(Driver):
    """One sensor."""

    KEYS: ClassVar[tuple[Key, ...]] = (
        Key("device", str),
        Key("devices", str, "/sys/bus/w1/devices"),
    )

    def __init__(self, probe: Probe, options: Mapping[str, Any], around: Surroundings) -> None:
        super().__init__(probe, options, around)
        self._devices: Path = around.folder / options["devices"]
        self._sensor: Path | None = None
        self._schedule: Schedule | None = None

    @classmethod
    def check(cls, probe: Probe, options: Mapping[str, Any], place: Place) -> None:
        """Check the sensor's name and that temperature is all that is wanted.

        Raises RoomFileError.
        """
        device = options["device"]
        if device is not None and not SENSOR.match(device):
            todo = "Write the name of its folder, like 28-0316a4c21bff."
            raise place.wrong(f"device = {device!r} is no temperature sensor.", todo, "device")
        value = probe.values[0]
        if len(probe.values) != 1 or value.quantity is not Quantity.TEMPERATURE or value.unit != UNIT:
            todo = f'Keep one [[probe.value]] with quantity = "temperature" and unit = "{UNIT}".'
            raise place.wrong("a 1-Wire sensor gives its temperature in Cel and nothing else.", todo)
        if value.field is not None or value.key is not None:
            raise place.wrong("a 1-Wire sensor has no field or key.", "Take it out.")

    @classmethod
    def shared(cls, options: Mapping[str, Any], folder: Path) -> tuple[str, str]:
        """The wire, on which every probe needs a sensor of its own."""
        return str((folder / options["devices"]).resolve()), "one_wire"

    @classmethod
    def told_apart_by(cls, probe: Probe, options: Mapping[str, Any]) -> str:
        """The sensor's name."""
        return f"device = {options['device']!r}" if options["device"] is not None else "no device"

    def open(self) -> None:
        """Find the sensor; the beat starts now."""
        self._sensor = self._found()
        self._schedule = Schedule(self.probe.every_s, self.around.monotonic())

    def _found(self) -> Path:
        try:
            names = sorted(path.name for path in self._devices.iterdir() if SENSOR.match(path.name))
        except OSError as error:
            if error.errno not in GONE:
                raise self._trouble(PortReason.REFUSED, f"cannot be read: {error.strerror}") from error
            what = "there is no such folder: is 1-Wire switched on (w1-gpio or an adapter's module, and w1-therm)?"
            raise self._trouble(PortReason.MISSING, what) from error
        device: str | None = self.options["device"]
        if device is None:
            if len(names) != 1:
                raise self._trouble(PortReason.SETTINGS, f"which sensor? Write device = one of: {_listed(names)}")
            device = names[0]
        elif device not in names:
            raise self._missing(device, names)
        return self._devices / device

    def _missing(self, device: str, names: list[str]) -> PortTrouble:
        what = f"sensor {device} is not on the wire: check its three wires, its power and the pull-up resistor"
        return self._trouble(PortReason.MISSING, f"{what}; there now: {_listed(names)}")

    def _trouble(self, reason: PortReason, what: str) -> PortTrouble:
        return PortTrouble(self.probe.id, str(self._devices), reason, what)

    def read(self, wait_s: float) -> Batch:
        """Have the sensor measure when it is time."""
        sensor, schedule = self._sensor, self._schedule
        if sensor is None or schedule is None:
            raise self._trouble(PortReason.UNPLUGGED, "it is not open")
        if (left_s := schedule.left_s(self.around.monotonic())) > 0:
            self.around.pause(min(left_s, wait_s))
        if not schedule.due(self.around.monotonic()):
            return EMPTY
        try:
            value_c = self._measured(sensor)
        except ValueError as error:
            return Batch(unreadable=1, last_unreadable=f"{sensor.name}: {error}")
        if value_c is None:
            return EMPTY
        time_ms = self.around.stamper.stamp(self.around.now_ms())
        return Batch((RawReading(self.probe.id, Quantity.TEMPERATURE, time_ms, value_c, UNIT),))

    def _measured(self, sensor: Path) -> float | None:
        """One measurement, asked for again once when it was spoilt on the wire; None: it is still measuring.

        Raises ValueError, in plain words, when there is none to believe; PortTrouble when the sensor has gone.
        """
        for left in range(TRIES - 1, -1, -1):
            try:
                return self._once(sensor)
            except ChecksumWrong:
                if not left:
                    raise
        raise AssertionError("the last try returns or raises")

    def _once(self, sensor: Path) -> float | None:
        try:
            text = _text(sensor / "w1_slave")
            return celsius_of_bytes(text, sensor.name[:2]) if text.strip() else None
        except OSError as error:
            if error.errno not in GONE:
                raise self._spoilt(error) from error
        try:
            text = _text(sensor / "temperature")
            return celsius(text) if text.strip() else None
        except OSError as error:
            if error.errno not in GONE:
                raise self._spoilt(error) from error
            names = [path.name for path in self._devices.glob("*-*") if SENSOR.match(path.name) and path != sensor]
            raise self._missing(sensor.name, sorted(names)) from error

    def _spoilt(self, error: OSError) -> Exception:
        if error.errno in (errno.EACCES, errno.EPERM):
            return self._trouble(PortReason.REFUSED, "not allowed to read it")
        return ChecksumWrong(f"the sensor did not answer well ({error.strerror}): check wires and pull-up resistor")

    def acknowledge(self, batch: Batch) -> None:
        """Nothing to say: a sensor holds only the present."""

    def close(self) -> None:
        """Nothing is held open."""
        self._sensor = self._schedule = None


def _text(path: Path) -> str:
    with path.open("rb") as file:
        return file.read(MOST_BYTES).decode("ascii", "replace")


def _listed(names: list[str]) -> str:
    return ", ".join(names) or "no sensor at all"
