"""SDI-12 version 1.4: commands as they are sent, and answers to numbers, or to the reason in plain words why not.

Pure: no I/O. Must not do: repair an answer; one letter too many or too few and it is asked for again.

Forms are from SDI-12 v1.4 section 4.4 (commands), the check from 4.4.12; all sections here are named from memory.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from collector.codecs.lines import LineSplitter

END = b"\r\n"
MOST_BYTES = 120
"""The longest answer is an address, 75 letters of values, 3 of the check and the end; an echo may stand before it."""
MEASURE = ("M", *(f"M{n}" for n in range(1, 10)))
CONCURRENT = ("C", *(f"C{n}" for n in range(1, 10)))
CONTINUOUS = tuple(f"R{n}" for n in range(10))
COMMANDS = (*MEASURE, *CONCURRENT, *CONTINUOUS)
ADDRESS = re.compile(r"[0-9A-Za-z]\Z")
MOST_DATA = 10
"""D0 to D9."""
_VALUE = re.compile(r"[+-](?:[0-9]+\.?[0-9]*|\.[0-9]+)\Z")
_IDENTITY = re.compile(r"([0-9])([0-9])(.{8})(.{6})(.{3})(.{0,13})\Z", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Promise:
    """What a sensor says to a measurement: so many values, in so many seconds."""

    wait_s: int
    count: int


def start_command(address: str, command: str, crc: bool) -> bytes:
    """``M``, ``C2``, ``R0`` as it is sent: ``0M!``, with the check ``0MC!``, ``0CC2!``, ``0RC0!``."""
    return f"{address}{command[0]}{'C' if crc else ''}{command[1:]}!".encode("ascii")


def data_command(address: str, index: int) -> bytes:
    """``0D0!`` to ``0D9!``."""
    return f"{address}D{index}!".encode("ascii")


def identify_command(address: str) -> bytes:
    """``0I!``."""
    return f"{address}I!".encode("ascii")


def crc_text(data: bytes) -> bytes:
    """The three letters that stand behind ``data`` (section 4.4.12: CRC-16, polynomial 0xA001 reflected, start 0)."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
    return bytes(0x40 | part for part in (crc >> 12, crc >> 6 & 0x3F, crc & 0x3F))


def splitter() -> LineSplitter:
    """Bytes to answers without their end, never holding more than the longest one."""
    return LineSplitter(END, MOST_BYTES)


def answer(line: bytes, command: bytes) -> bytes:
    """The answer without what a half-duplex adapter hears of ourselves: NUL for the break, then the command."""
    return line[line.rfind(command) + len(command) if command in line else 0 :].lstrip(b"\0")


def promise(line: bytes, address: str, command: str) -> Promise:
    """``atttn`` (M) or ``atttnn`` (C).

    Raises ValueError, in plain words.
    """
    body = _body(line, address)
    digits = 5 if command in CONCURRENT else 4
    if len(body) != digits or not (body.isascii() and body.isdigit()):
        raise ValueError(f"{_shown(line)} is not the address and {digits} digits")
    return Promise(int(body[:3]), int(body[3:]))


def is_service_request(line: bytes, address: str) -> bool:
    """Whether this is the address alone: the sensor is ready before its time."""
    return line == address.encode("ascii")


def values(line: bytes, address: str, crc: bool) -> list[float]:
    """The numbers of an answer to D or R.

    Raises ValueError, in plain words, when anything in it is not as it must be.
    """
    if crc:
        line, check = line[:-3], line[-3:]
        if len(line) < 1 or crc_text(line) != check:
            raise ValueError(f"{_shown(line + check)} does not fit its check (CRC)")
    body = _body(line, address)
    if not body:
        raise ValueError("an answer without a value: the sensor broke the measurement off")
    if body[0] not in "+-":
        raise ValueError(f"{_shown(line)} has no sign before its first value")
    return [_number(part) for part in re.split(r"(?=[+-])", body) if part]


def identity(line: bytes, address: str) -> str:
    """Who answers to aI!, in words; maker, model, version and serial number as the sensor writes them.

    Raises ValueError, in plain words.
    """
    match = _IDENTITY.match(_body(line, address))
    if match is None or not line.decode("ascii", "replace").isprintable():
        raise ValueError(f"{_shown(line)} is no identification")
    major, minor, maker, model, version, rest = (part.strip() for part in match.groups())
    words = (f"address {address}", f"SDI-12 {major}.{minor}", maker, f"model {model}", f"version {version}", rest)
    return ", ".join(word for word in words if word)


def picked(found: Sequence[float], place: int) -> float:
    """The value at a place counted from 1.

    Raises ValueError when the sensor gave fewer.
    """
    if place > len(found):
        raise ValueError(f"value {place} is not there, the sensor gives {len(found)}")
    return found[place - 1]


def _body(line: bytes, address: str) -> str:
    try:
        text = line.decode("ascii")
    except UnicodeDecodeError as error:
        byte = line[error.start]
        raise ValueError(f"byte {byte:#04x} is not ASCII; check baud, bits and parity of the adapter") from None
    if not text.startswith(address):
        if ADDRESS.match(text[:1]):
            raise ValueError(f"{_shown(line)} comes from address {text[0]!r}, {address!r} was asked")
        raise ValueError(f"{_shown(line)} does not begin with the address {address!r}")
    return text[1:]


def _number(part: str) -> float:
    digits = sum(letter.isdigit() for letter in part)
    if not _VALUE.match(part):
        raise ValueError(f"{part[:40]!r} is not a number")
    if digits > 7:
        raise ValueError(f"{part[:40]!r} has {digits} digits, SDI-12 allows 7")
    return float(part)


def _shown(line: bytes) -> str:
    return repr(line[:40].decode("ascii", "backslashreplace"))
