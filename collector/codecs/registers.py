"""Modbus registers to numbers: types, word and byte order, scale, and which registers are read in one request.

Pure. Must not do: guess a type or an order; a register that says "no value" is refused with the reason.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import isfinite, isnan

FORMS = {
    "int16": "h",
    "uint16": "H",
    "int32": "i",
    "uint32": "I",
    "int64": "q",
    "uint64": "Q",
    "float32": "f",
    "float64": "d",
}
ORDERS = ("high_first", "low_first")
MOST_REGISTERS = 125
"""In one answer to function 3 or 4 (Modbus application protocol v1.1b3, sections 6.3 and 6.4)."""


@dataclass(frozen=True, slots=True)
class Register:
    """Where one value stands and how it is written. ``address`` is the one on the wire, counted from 0."""

    address: int
    function: int
    form: str
    word_order: str = "high_first"
    byte_order: str = "high_first"
    scale: float = 1.0
    offset: float = 0.0
    none_value: float | None = None

    @property
    def count(self) -> int:
        """How many registers it fills."""
        return struct.calcsize(">" + FORMS[self.form]) // 2

    def value(self, registers: Sequence[int]) -> float:
        """The number in these registers: what stands there, times ``scale``, plus ``offset``.

        Raises ValueError, in plain words, when it says that there is none.
        """
        words = registers if self.word_order == "high_first" else registers[::-1]
        data = struct.pack(f"{'>' if self.byte_order == 'high_first' else '<'}{self.count}H", *words)
        (raw,) = struct.unpack(">" + FORMS[self.form], data)
        if isnan(raw):
            raise ValueError("the probe says NaN, its word for no value")
        if not isfinite(raw):
            raise ValueError("the probe says infinity, which is no value")
        if self.none_value is not None and raw == written(self.form, self.none_value):
            raise ValueError(f"{raw:g} is its word for no value")
        # in decimals 2431 * 0.01 is 24.31 and not 24.310000000000002
        scaled = float(Decimal(raw) * Decimal(repr(self.scale)) + Decimal(repr(self.offset)))
        if not isfinite(scaled):
            raise ValueError(f"{raw:g} times {self.scale:g} is too large a number")
        return scaled


def written(form: str, number: float) -> float | None:
    """``number`` as it comes back when it is written into registers of that form; None when it does not go in."""
    # with a byte order struct refuses what is too large; without one it makes an infinity of it
    layout = ">" + FORMS[form]
    try:
        (back,) = struct.unpack(layout, struct.pack(layout, number if "float" in form else int(number)))
    except (struct.error, OverflowError):
        return None
    return float(back) if "float" in form or back == number else None


@dataclass(frozen=True, slots=True)
class Block:
    """Registers that are read in one request."""

    function: int
    address: int
    count: int


def blocks(registers: Sequence[Register]) -> tuple[Block, ...]:
    """As few requests as bring all of ``registers`` without one that nobody asked for; a value is never cut in two."""
    found: list[Block] = []
    for one in sorted(registers, key=lambda register: (register.function, register.address, register.count)):
        last = found[-1] if found else None
        if last is not None and last.function == one.function and one.address <= last.address + last.count:
            count = max(last.count, one.address + one.count - last.address)
            if count <= MOST_REGISTERS:
                found[-1] = Block(last.function, last.address, count)
                continue
        found.append(Block(one.function, one.address, one.count))
    return tuple(found)


def taken(one: Register, answers: Mapping[Block, Sequence[int]]) -> Sequence[int] | None:
    """The registers of one value out of what was read; None when they are not in it."""
    for block, registers in answers.items():
        start = one.address - block.address
        if block.function == one.function and 0 <= start and start + one.count <= block.count:
            return registers[start : start + one.count]
    return None


# Modbus application protocol v1.1b3, section 7, in our words
EXCEPTIONS = {
    1: "the probe does not know function {function}; try function = {other}",
    2: "the probe has no register {first}{to_last}; is the manual counting from 1, or is a type too long?",
    3: "the probe will not give {count} registers at once; are types and registers right?",
    4: "the probe failed while it measured or looked up register {first}; see its manual",
    5: "the probe has accepted and needs longer; ask less often",
    6: "the probe is busy with something else; ask less often",
    8: "the probe found an error in its own memory",
    10: "the gateway has no way to device {device}; are its number and line right?",
    11: "device {device} does not answer the gateway; check its power, wiring and number",
}


def exception_words(code: int, device: int, block: Block) -> str:
    """What an exception code of the probe means, and what to do."""
    last = block.address + block.count - 1
    text = EXCEPTIONS.get(code, "the probe answers with an exception that the standard does not name")
    words = text.format(
        function=block.function,
        other=7 - block.function,
        first=block.address,
        to_last=f" to {last}" if block.count > 1 else "",
        count=block.count,
        device=device,
    )
    return f"{words} (exception {code})"


def notation_hint(number: int) -> str | None:
    """What to write instead of 40001 or 300012, the notation of manuals that has the function in front; else None."""
    for base, function in ((40001, 3), (400001, 3), (30001, 4), (300001, 4)):
        if base <= number < base + (9999 if base < 100_000 else 65536):
            return f"register = {number - base}, function = {function}"
    return None
