"""How a simulated probe words its readings, taken from the same keys the real driver reads it by.

Pure: numbers in, bytes out. Must not do: write to a port.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import PurePath

from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.tank import Probe, Value

DRIVER = "serial_lines"
PORTS = "simulated/ports"
"""Where in the data folder the pseudo-terminals have their names."""
STATUS_WORD = "OK"
"""Stands in every column of a line that the room file does not read."""

UNSPOKEN = ("pattern", "time_field", "time_key", "acknowledge", "decimal")
"""Keys of the serial driver that a simulated probe would have to follow and does not."""

WORDINGS: dict[tuple[Quantity, str], Callable[[float, float, float], str]] = {
    (Quantity.TEMPERATURE, "Cel"): lambda t, _o, _s: f"{t:.2f}",
    (Quantity.TEMPERATURE, "[degF]"): lambda t, _o, _s: f"{t * 1.8 + 32.0:.1f}",
    (Quantity.TEMPERATURE, "K"): lambda t, _o, _s: f"{t + 273.15:.2f}",
    (Quantity.OXYGEN, "mg/L"): lambda _t, o, _s: f"{o:.2f}",
    (Quantity.OXYGEN_SATURATION, "%"): lambda _t, o, s: f"{100.0 * o / s:.1f}",
}
"""Text of a value from temperature [degC], oxygen [mg/L] and oxygen at saturation [mg/L]; the decimals are the
probe's resolution."""


@dataclass(frozen=True, slots=True)
class Dialect:
    """One probe's way of speaking."""

    probe: str
    tank: str
    every_s: float
    values: tuple[Value, ...]
    separator: str
    line_end: str
    poll: str
    fields: int = 0

    def texts(self, temperature_c: float, oxygen_mg_l: float, saturation_mg_l: float) -> list[str] | None:
        """The values' texts in the order of ``values``; None when the probe is quiet (a reading is NaN)."""
        if math.isnan(temperature_c) or math.isnan(oxygen_mg_l):
            return None
        return [WORDINGS[v.quantity, v.unit](temperature_c, oxygen_mg_l, saturation_mg_l) for v in self.values]

    def line(self, texts: list[str]) -> bytes:
        """The whole line: columns where the values say so, ``key=value`` for those with a key."""
        places = [None if value.key else value.field or place for place, value in enumerate(self.values, 1)]
        columns = [STATUS_WORD] * max(self.fields, *(place or 0 for place in places))
        pairs = []
        for value, place, text in zip(self.values, places, texts, strict=True):
            if place is None:
                pairs.append(f"{value.key}={text}")
            else:
                columns[place - 1] = text
        return (self.separator.join([*columns, *pairs]) + self.line_end).encode()


def is_simulated(probe: Probe) -> bool:
    """Whether the probe's port is one of this room's pseudo-terminals; a real port is left to the real probe."""
    port = PurePath(str(probe.options.get("port", "")))
    return probe.driver == DRIVER and port.name == probe.id and port.parts[-3:-1] == ("simulated", "ports")


def dialect_of(probe: Probe) -> Dialect:
    """Read a probe's way of speaking from its room file entry.

    Raises InputError when it asks for something the simulated room does not have.
    """
    where = f"probe {probe.id!r}" + (f" (room file line {probe.line})" if probe.line else "")
    if probe.tank is None:
        raise InputError(f"{where} has no tank; a simulated probe needs one. Add: tank = ...")
    for value in probe.values:
        if (value.quantity, value.unit) not in WORDINGS:
            known = ", ".join(f"{quantity} in {unit}" for quantity, unit in WORDINGS)
            raise InputError(f"{where}: the simulated room has no {value.quantity} in {value.unit!r}. It has: {known}.")
    options = probe.options
    for name in UNSPOKEN:
        if options.get(name) not in (None, "."):
            raise InputError(f"{where}: a simulated probe cannot do {name!r}. Leave the key out.")
    keyed = any(value.key is not None for value in probe.values)
    return Dialect(
        probe=probe.id,
        tank=probe.tank,
        every_s=probe.every_s,
        values=probe.values,
        separator=str(options.get("separator") or (" " if keyed else ",")),
        line_end=str(options.get("line_end") or "\r\n"),
        poll=str(options.get("poll") or ""),
        fields=fields if isinstance(fields := options.get("fields"), int) else 0,
    )
