"""What the Linux kernel writes of a 1-Wire temperature sensor, to degrees Celsius or to the reason why not.

Two forms (Documentation/w1/slaves/w1_therm.rst of the kernel): ``w1_slave``, the sensor's nine bytes twice, with the
verdict on their checksum and ``t=`` in thousandths; and ``temperature``, the thousandths alone.
Pure. Must not do: believe a number whose bytes do not bear it out.
"""

from __future__ import annotations

import re

from collector.codecs.numbers import number

LINES = re.compile(r"((?:[0-9a-f]{2} ){9}): crc=([0-9a-f]{2}) (YES|NO)\n((?:[0-9a-f]{2} ){9})(?:t=(\S*))?\s*\Z")
LEAST_C, MOST_C = -55.0, 125.0
"""What these sensors can measure."""
POWER_ON = 85_000
ABSENT = -127_000
SIXTEENTHS = ("22", "28", "42")
"""Families whose first two bytes are sixteenths of a degree."""
STEP = 63
"""One sixteenth of a degree, in thousandths, rounded up."""


class ChecksumWrong(ValueError):
    """The bytes were spoilt on the wire: worth asking once more."""


def crc8(data: bytes) -> int:
    """The checksum of 1-Wire: polynomial x^8 + x^5 + x^4 + 1, lowest bit first."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0x8C if crc & 1 else 0)
    return crc


def celsius_of_bytes(text: str, family: str) -> float:
    """The temperature in the text of ``w1_slave``, for a sensor of this family (``"28"``).

    Raises ChecksumWrong, and ValueError in plain words for everything else that cannot be believed.
    """
    found = LINES.match(text)
    if found is None:
        raise ValueError("is not the two lines a sensor's w1_slave has")
    first, said, verdict, second, thousandths = found.groups()
    data = bytes.fromhex(first)
    if verdict == "NO" or crc8(data[:8]) != data[8] or int(said, 16) != data[8]:
        raise ChecksumWrong("the checksum is wrong: check the cable, its length and the pull-up resistor")
    if not any(data):
        raise ValueError("all bytes are zero: the data line is short-circuited, or the sensor has no power")
    if second != first:
        raise ValueError("the two lines are of different readings")
    if thousandths is None:
        raise ValueError("t= is missing")
    value = number(thousandths)
    if family in SIXTEENTHS:
        written = int.from_bytes(data[:2], "little", signed=True) * 62.5
        if abs(value - written) > STEP:
            raise ValueError(f"t={thousandths} does not fit its bytes, which say {written / 1000:g}")
    return celsius(thousandths)


def celsius(text: str) -> float:
    """The temperature in the text of ``temperature``.

    Raises ValueError, in plain words, for what no sensor has measured.
    """
    thousandths = number(text)
    if thousandths == POWER_ON:
        raise ValueError("85 is what a sensor says that has just got power and not measured: check its power and wires")
    if thousandths == ABSENT:
        raise ValueError("-127 is no temperature: the sensor did not answer")
    if not LEAST_C * 1000 <= thousandths <= MOST_C * 1000:
        raise ValueError(f"{thousandths / 1000:g} is outside what the sensor can measure, {LEAST_C:g} to {MOST_C:g}")
    return thousandths / 1000
