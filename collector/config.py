"""``room.toml`` to checked probes: each with its driver's class and its own keys read strictly.

Must not do: open a port or a spool.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from api.domain.errors import InputError, RoomFileError
from api.domain.roomfile import parse_room
from api.domain.roomkeys import VALUE
from api.domain.tables import Place, take, unknown
from api.domain.tank import UNREAD, Probe, RoomFile
from collector.drivers.base import Driver
from collector.drivers.ports import Ports
from collector.drivers.table import DRIVERS, driver_class
from collector.simulated.dialect import PORTS, is_simulated

DATA_DIR = "intermolt-data"
COMMON = ("id", "driver", "tank", "every_s", "value")


@dataclass(frozen=True, slots=True)
class CheckedProbe:
    """A probe whose driver exists and whose keys that driver can use."""

    probe: Probe
    driver: type[Driver]
    options: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class CollectorConfig:
    """All the collector needs of the room file and of the command line."""

    folder: Path
    data: Path
    service: str
    spool_max_mb: float
    pack_size: int
    probes: tuple[CheckedProbe, ...]
    uplink: str = "http"
    second_voice_after_s: float = 900.0
    room: RoomFile | None = None


def load_config(room_file: Path, data: Path | None = None, service: str | None = None) -> CollectorConfig:
    """Read and check the room file; the command line's words go before the file's.

    Raises InputError: RoomFileError with file, line, table and key where the file is to blame.
    """
    try:
        text = room_file.read_text(encoding="utf-8")
    except OSError as error:
        raise InputError(f"{room_file} cannot be read: {error.strerror}; name the room file with --room") from error
    except UnicodeDecodeError as error:
        raise RoomFileError(str(room_file), None, "this is not UTF-8 text.", "Save it as UTF-8.") from error
    room = parse_room(text, str(room_file))
    folder = room_file.resolve().parent
    data = data if data is not None else folder / DATA_DIR
    return CollectorConfig(
        folder=folder,
        data=data,
        service=_service(service, room, Place(str(room_file), text, "room.collector")),
        spool_max_mb=room.collector.spool_max_mb,
        pack_size=room.collector.pack_size,
        uplink=_uplink(room, Place(str(room_file), text, "room.collector")),
        second_voice_after_s=room.collector.second_voice_after_s,
        room=room,
        probes=_probes(room, str(room_file), text, data),
    )


def _service(asked: str | None, room: RoomFile, place: Place) -> str:
    url = asked or room.collector.service or f"http://127.0.0.1:{room.service.port}"
    parts = urlsplit(url)
    if parts.scheme not in ("http", "https") or not parts.hostname:
        what, todo = f"service = {url!r} is no web address.", 'Write it like "http://127.0.0.1:8080".'
        raise InputError(f"--service: {what} {todo}") if asked else place.wrong(what, todo, "service")
    return url.rstrip("/")


def _uplink(room: RoomFile, place: Place) -> str:
    if room.collector.uplink == "mqtt" and room.mqtt is None:
        raise place.wrong('uplink = "mqtt" needs a broker.', "Add a [room.mqtt] table with its host.", "uplink")
    return room.collector.uplink


def _probes(room: RoomFile, file: str, text: str, data: Path) -> tuple[CheckedProbe, ...]:
    checked: list[CheckedProbe] = []
    ports = Ports(Path(file).resolve().parent)
    tables = tomllib.loads(text).get("probe", [])
    for index, (probe, table) in enumerate(zip(room.probes, tables, strict=True)):
        place = Place(file, text, "probe", index)
        if probe.driver in UNREAD:
            _bare(table, place)
            continue
        driver = _driver(probe, place)
        for name in table:
            if name not in COMMON and name not in {key.name for key in driver.KEYS}:
                raise unknown(name, (*(key.name for key in driver.KEYS), *COMMON), place)
        options = driver.filled(take(probe.options, driver.KEYS, place), room, place)
        if room.simulated is not None and is_simulated(probe):
            # the simulated room opens its ports in the data folder, wherever that is
            options = {**options, "port": str(data.resolve() / PORTS / probe.id)}
        probe = _with_value_options(probe, driver, place, file, text, tables)
        driver.check(probe, options, place)
        ports.take(probe, driver, options, place)
        checked.append(CheckedProbe(probe, driver, options))
    return tuple(checked)


def _bare(table: dict[str, Any], place: Place) -> None:
    """A probe nobody reads has no keys of a driver."""
    for name in table:
        if name not in COMMON:
            raise unknown(name, COMMON, place)


def _with_value_options(
    probe: Probe, driver: type[Driver], place: Place, file: str, text: str, tables: list[dict[str, Any]]
) -> Probe:
    """The probe with each value's own keys of this driver read strictly and filled in."""
    before = sum(len(table.get("value", ())) for table in tables[: place.index])
    known = (*(key.name for key in VALUE), *(key.name for key in driver.VALUE_KEYS))
    values = []
    for offset, value in enumerate(probe.values):
        found = Place(file, text, "probe.value", before + offset)
        inner = found if found.line() else place
        for name in value.options:
            if name not in known:
                raise unknown(name, known, inner)
        values.append(replace(value, options=take(value.options, driver.VALUE_KEYS, inner)))
    return replace(probe, values=tuple(values))


def _driver(probe: Probe, place: Place) -> type[Driver]:
    if probe.driver not in DRIVERS:
        near = difflib.get_close_matches(probe.driver, DRIVERS, n=1, cutoff=0.5)
        hint = f"Did you mean {near[0]!r}?" if near else f"Known: {', '.join(sorted((*DRIVERS, *UNREAD)))}."
        raise place.wrong(f"driver = {probe.driver!r} is not known.", hint, "driver")
    return driver_class(probe.driver)
