"""How a collector's ports are, in its data folder, for another process that may not open them (``--check``).

Must not do: stand in for the report to the service, or matter when it cannot be written.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.reading import RawReading

NAME = "collector-status.json"
STALE_MS = 60_000
"""A running collector says more often how it is."""


@dataclass(frozen=True, slots=True)
class PortWord:
    """What a running collector last said of one port."""

    state: str
    error: str = ""
    last_unreadable: str = ""
    newest: tuple[RawReading, ...] = ()

    @property
    def words(self) -> str:
        """The state, and what is wrong."""
        why = self.error or (self.last_unreadable if self.state != "reading" else "")
        return f"{self.state}: {why}" if why else self.state


def write(folder: Path, document: Mapping[str, Any], newest: Mapping[str, list[RawReading]]) -> None:
    """Leave the report and the newest readings; a disk that takes nothing is told elsewhere."""
    said = {
        probe: [[str(one.quantity), one.time_ms, one.value, one.unit] for one in readings]
        for probe, readings in newest.items()
    }
    beside = folder / f".{NAME}.part"
    try:
        beside.write_text(json.dumps({**document, "newest": said}), encoding="utf-8")
        os.replace(beside, folder / NAME)
    except OSError:
        return


def read(folder: Path, now_ms: int) -> dict[str, PortWord]:
    """The last word on each port; nothing when there is none, none that can be read, or only an old one."""
    try:
        told = json.loads((folder / NAME).read_text(encoding="utf-8"))
        if abs(now_ms - told["time_ms"]) > STALE_MS:
            return {}
        return {port["probe"]: _word(port, told["newest"].get(port["probe"], [])) for port in told["ports"]}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, InputError):
        return {}


def _word(port: Mapping[str, Any], newest: list[list[Any]]) -> PortWord:
    readings = tuple(
        RawReading(port["probe"], Quantity(quantity), time_ms, value, unit) for quantity, time_ms, value, unit in newest
    )
    return PortWord(port["state"], port["error"], port["last_unreadable"], readings)
