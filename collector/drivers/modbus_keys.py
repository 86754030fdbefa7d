"""The keys of a Modbus probe in ``room.toml``, and what one key alone cannot show.

Must not do: ask a probe.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from api.domain.tables import Key, Place
from api.domain.tank import Probe, Value
from collector.codecs.registers import FORMS, ORDERS, Register, notation_hint, written
from collector.drivers.serial_port import PARITIES

SERIAL = ("baud", "parity", "stop_bits")
KEYS = (
    Key("port", str),
    Key("baud", int, 19_200, low=50, high=4_000_000),
    Key("parity", str, "even", choices=tuple(PARITIES)),
    Key("stop_bits", float, 1.0, low=1, high=2),
    Key("host", str),
    Key("tcp_port", int, 502, low=1, high=65_535),
    Key("device", int, 1, low=0, high=255),
    Key("count_from", int, low=0, high=1),
    Key("timeout_s", float, 1.0, low=0.02, high=10),
    Key("tries", int, 2, low=1, high=10),
)
VALUE_KEYS = (
    Key("register", int, required=True, low=0, high=465_536),
    Key("type", str, required=True, choices=tuple(FORMS)),
    Key("function", int, 3, low=3, high=4),
    Key("word_order", str, "high_first", choices=ORDERS),
    Key("byte_order", str, "high_first", choices=ORDERS),
    Key("scale", float, 1.0),
    Key("offset", float, 0.0),
    Key("none_value", float),
)


def register_of(value: Value, options: Mapping[str, Any]) -> Register:
    """Where a checked value stands."""
    keys = value.options
    return Register(
        keys["register"] - (options["count_from"] or 0),
        keys["function"],
        keys["type"],
        keys["word_order"],
        keys["byte_order"],
        keys["scale"],
        keys["offset"],
        keys["none_value"],
    )


def check_keys(probe: Probe, options: Mapping[str, Any], place: Place) -> None:
    """Check the way to the probe and the registers of its values.

    Raises RoomFileError.
    """
    if (options["port"] is None) == (options["host"] is None):
        todo = 'Write port = "/dev/..." for a serial line, or host = "192.0.2.7" for the network.'
        raise place.wrong("needs one of port and host.", todo, "host")
    for key in (*SERIAL, "tcp_port"):
        if key in probe.options and (options["host"] is None) == (key == "tcp_port"):
            other = "port" if key == "tcp_port" else "host"
            raise place.wrong(f"{key} has no meaning beside {other}.", "Leave it out.", key)
    if options["port"] is not None and not 1 <= options["device"] <= 247:
        raise place.wrong(f"device = {options['device']} is outside 1 to 247.", "See the probe's manual.", "device")
    if options["stop_bits"] not in (1, 1.5, 2):
        raise place.wrong("stop_bits must be 1, 1.5 or 2.", key="stop_bits")
    for value in probe.values:
        if [other.quantity for other in probe.values].count(value.quantity) > 1:
            raise place.wrong(f"gives {value.quantity} twice.", "One value for each quantity of a probe.")
        _check_value(value, options, place)


def _check_value(value: Value, options: Mapping[str, Any], place: Place) -> None:
    name, number = value.quantity, value.options["register"]
    if value.field is not None or value.key is not None:
        raise place.wrong(f"{name} has a field or a key.", "Modbus values have a register instead.")
    hint = notation_hint(number)
    if hint is not None and (options["count_from"] is None or number > 65_536):
        todo = f"Write {hint}."
        if number <= 65_535:
            todo += " If it is the address on the wire, write count_from = 0 in [[probe]]."
        raise place.wrong(f"{name}: register = {number} looks like a manual's number with the function in front.", todo)
    one = register_of(value, options)
    if one.address < 0:
        raise place.wrong(f"{name}: register = 0, but count_from = 1.", "The first register is then 1.")
    if one.address + one.count > 65_536:
        raise place.wrong(f"{name}: register = {number} is beyond the last one, 65535.", "Look it up again.")
    if one.none_value is not None and written(one.form, one.none_value) is None:
        todo = "Write the number that the registers hold, before scale and offset."
        raise place.wrong(f"{name}: none_value = {one.none_value:g} is no {one.form}.", todo)
    if one.scale == 0:
        raise place.wrong(f"{name}: scale = 0 makes every value the same.", "Leave it out for 1.")
