"""A folder that looks like the kernel's /sys/bus/w1/devices, with sensors that are set, spoilt and pulled out.

Written from the kernel's Documentation/w1/slaves/w1_therm.rst. Must not do: judge what a driver makes of it.
"""

from __future__ import annotations

import shutil
from pathlib import Path


class OneWireTree:
    """The folder ``devices``; its sensors show ``w1_slave``, or only the newer ``temperature``."""

    def __init__(self, devices: Path) -> None:
        self.devices = devices
        (devices / "w1_bus_master1").mkdir(parents=True)

    def set(self, sensor: str, thousandths: int, verdict: str = "YES") -> None:
        """What the sensor measures from now on."""
        sixteenths = round(thousandths / 62.5)
        data = (sixteenths & 0xFFFF).to_bytes(2, "little") + bytes((0x4B, 0x46, 0x7F, 0xFF, 0x0E, 0x10))
        self.write(sensor, lines(data, str(thousandths), verdict))

    def write(self, sensor: str, text: str, name: str = "w1_slave") -> None:
        """The text of one of its files."""
        folder = self.devices / sensor
        folder.mkdir(exist_ok=True)
        (folder / name).write_text(text)

    def pull(self, sensor: str) -> None:
        """The sensor is taken off the wire, and the kernel has noticed."""
        shutil.rmtree(self.devices / sensor, ignore_errors=True)


def lines(data: bytes, thousandths: str, verdict: str = "YES") -> str:
    """The two lines of a sensor's eight bytes and their checksum."""
    crc = checksum(data)
    shown = " ".join(f"{byte:02x}" for byte in (*data, crc))
    return f"{shown} : crc={crc:02x} {verdict}\n{shown} t={thousandths}\n"


def checksum(data: bytes) -> int:
    """CRC-8 of 1-Wire by long division, bit by bit: another way than the driver's."""
    bits = [byte >> bit & 1 for byte in data for bit in range(8)] + [0] * 8
    for at in range(len(bits) - 8):
        if bits[at]:
            for place in (0, 3, 4, 8):  # x^8 + x^5 + x^4 + 1
                bits[at + place] ^= 1
    return sum(bit << place for place, bit in enumerate(bits[-8:]))
