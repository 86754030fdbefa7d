"""Which driver is meant by which name in ``room.toml``: a literal table, so that it can be read and checked.

Must not do: import a driver nobody asked for.
"""

from __future__ import annotations

from importlib import import_module

from collector.drivers.base import Driver

DRIVERS: dict[str, str] = {
    "serial_lines": "collector.drivers.serial_lines:SerialLines",
    "csv_rows": "collector.drivers.csv_rows:CsvRows",
    "modbus": "collector.drivers.modbus:Modbus",
    "mqtt_topics": "collector.drivers.mqtt_topics:MqttTopics",
    "one_wire": "collector.drivers.one_wire:OneWire",
    "sdi12": "collector.drivers.sdi12:Sdi12",
}


def driver_class(name: str) -> type[Driver]:
    """The class of a driver in the table.

    Raises KeyError for a name that is not.
    """
    module, _, member = DRIVERS[name].partition(":")
    found = getattr(import_module(module), member)
    if not (isinstance(found, type) and issubclass(found, Driver)):
        raise TypeError(f"{DRIVERS[name]} is not a Driver")
    return found
