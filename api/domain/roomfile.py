"""``room.toml`` as text to ``RoomFile``: every message names file, line, table and key.

Pure: the caller reads the file. Keys that belong to a driver are kept as they stand for the collector to read.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from api.domain.care import CareProfile, CareRange
from api.domain.care_change import NUMBERS
from api.domain.care_species import BUILT_IN, profile_for
from api.domain.errors import InputError, RoomFileError
from api.domain.morning import morning_of
from api.domain.quantity import Quantity
from api.domain.reading import PROBE_ID, PROBE_ID_RULE
from api.domain.roomkeys import (
    CARE,
    COLLECTOR,
    HEARTBEAT,
    LIMITS,
    MQTT,
    NOTIFY,
    PROBE,
    RANGE,
    ROOM,
    SERVICE,
    SIMULATED,
    TANK,
    TOP,
    VALUE,
)
from api.domain.roompeople import PERSON, address_of, ladder_of, people_of
from api.domain.tables import Key, Place, take, unknown
from api.domain.tank import (
    CollectorSettings,
    Heartbeat,
    Mqtt,
    Notify,
    Probe,
    Room,
    RoomFile,
    ServiceSettings,
    SimulatedSettings,
    Tank,
    Value,
)
from api.domain.toml_words import toml_fault


def parse_room(text: str, file: str = "room.toml") -> RoomFile:
    """Read the whole description.

    Raises RoomFileError at the first line that cannot be used.
    """
    if text.startswith("\ufeff"):
        raise RoomFileError(file, 1, "the file begins with a byte order mark.", "Save it as UTF-8 without BOM.")
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise toml_fault(error, text, file) from error
    for name in data:
        if name not in TOP:
            raise unknown(name, TOP, Place(file, text, name))
    top = _table(data, "room", file, text)
    place = Place(file, text, "room")
    room = take(top, ROOM, place)
    _zone(room["zone"], place)
    care = _profiles(data, file, text)
    tanks = _tanks(data, file, text, care)
    return RoomFile(
        room=Room(room["name"], room["zone"], room["altitude_m"], room["pressure_kpa"], room["salinity_psu"]),
        tanks=tanks,
        probes=_probes(data, file, text, {tank.id for tank in tanks}),
        care=care,
        notify=_notify(data, file, text),
        service=_service(room["service"], Place(file, text, "room.service")),
        collector=CollectorSettings(**take(room["collector"], COLLECTOR, Place(file, text, "room.collector"))),
        simulated=None
        if room["simulated"] is None
        else SimulatedSettings(**take(room["simulated"], SIMULATED, Place(file, text, "room.simulated"))),
        mqtt=None if room["mqtt"] is None else Mqtt(**take(room["mqtt"], MQTT, Place(file, text, "room.mqtt"))),
        heartbeat=None
        if room["heartbeat"] is None
        else _heartbeat(room["heartbeat"], Place(file, text, "room.heartbeat")),
        people=people_of(_once(_rows(data, "person", PERSON, file, text), "name")),
        ladder=ladder_of(room["ladder"], Place(file, text, "room.ladder")),
        morning=morning_of(room["morning"], Place(file, text, "room.morning")),
    )


def _table(data: dict[str, Any], name: str, file: str, text: str) -> dict[str, Any]:
    table = data.get(name)
    if not isinstance(table, dict):
        raise RoomFileError(file, None, f"there is no [{name}] table.", f"Start the file with [{name}].")
    return table


def _service(table: dict[str, Any], place: Place) -> ServiceSettings:
    values = take(table, SERVICE, place)
    values["hosts"] = tuple(str(host) for host in values["hosts"])
    values["address"] = address_of(values["address"], place)
    return ServiceSettings(**values)


def _heartbeat(table: dict[str, Any], place: Place) -> Heartbeat:
    values = take(table, HEARTBEAT, place)
    if not values["url"].startswith(("http://", "https://")):
        raise place.wrong(
            f"url = {values['url']!r} is no web address.", 'Write it like "https://watch.example/x".', "url"
        )
    return Heartbeat(**values)


def _zone(zone: str, place: Place) -> None:
    try:
        ZoneInfo(zone)
    except (ValueError, OSError, KeyError) as error:
        raise place.wrong(
            f"zone = {zone!r} is not a time zone.", "Use a name such as 'UTC' or 'Pacific/Auckland'.", "zone"
        ) from error


def _list(data: dict[str, Any], name: str, file: str, text: str) -> list[tuple[dict[str, Any], Place]]:
    rows = data.get(name, [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        place = Place(file, text, name)
        raise place.wrong("is one table.", f"Write [[{name}]] with two brackets, once for each {name}.")
    return [(row, Place(file, text, name, index)) for index, row in enumerate(rows)]


def _rows(
    data: dict[str, Any], name: str, keys: Sequence[Key], file: str, text: str, *, rest: bool = False
) -> list[tuple[dict[str, Any], Place]]:
    return [(take(row, keys, place, rest=rest), place) for row, place in _list(data, name, file, text)]


def _profiles(data: dict[str, Any], file: str, text: str) -> tuple[CareProfile, ...]:
    profiles = {one.name: one for one in BUILT_IN}
    for row, place in _once(_rows(data, "care", CARE, file, text), "name"):
        ranges = []
        for quantity in Quantity:
            table = row[str(quantity)]
            if table is None:
                continue
            inner = Place(file, text, f"care.{quantity}", _nth(data["care"], str(quantity), place.index))
            try:
                one = CareRange(quantity, **_sourced(take(table, RANGE, inner), inner))
                if not one.limited:
                    raise inner.wrong("sets no limit.", f"Give at least one of: {', '.join(LIMITS)}.")
                ranges.append(one)
            except RoomFileError:
                raise
            except InputError as error:
                raise inner.wrong(
                    str(error) + ".", "Limits must rise: danger, tolerable, target, then back."
                ) from error
        profiles[row["name"]] = CareProfile(row["name"], tuple(ranges), row["source"])
    return tuple(profiles.values())


def _sourced(numbers: dict[str, Any], place: Place) -> dict[str, Any]:
    """A care range's numbers, its sources number by number."""
    sources = numbers["sources"]
    for name, source in sources.items():
        if name not in NUMBERS or not isinstance(source, str):
            raise place.wrong(f"sources.{name} is no source.", 'Write it like {target_low = "our protocol"}.')
    return numbers | {"sources": tuple(sources.items())}


def _once(rows: list[tuple[dict[str, Any], Place]], key: str) -> Iterator[tuple[dict[str, Any], Place]]:
    """The rows, none of which may have the name of an earlier one."""
    seen: set[str] = set()
    for row, place in rows:
        if row[key] in seen:
            raise place.wrong(f"{key} = {row[key]!r} stands twice.", f"Give each {place.table} its own {key}.", key)
        seen.add(row[key])
        yield row, place


def _notify(data: dict[str, Any], file: str, text: str) -> tuple[Notify, ...]:
    return tuple(Notify(**row) for row, _ in _once(_rows(data, "notify", NOTIFY, file, text), "name"))


def _nth(rows: list[dict[str, Any]], key: str, index: int) -> int:
    """Which of the tables ``[<name>.<key>]`` belongs to row ``index``."""
    return sum(key in row for row in rows[:index])


def _tanks(data: dict[str, Any], file: str, text: str, care: tuple[CareProfile, ...]) -> tuple[Tank, ...]:
    names = tuple(profile.name for profile in care)
    tanks: dict[str, Tank] = {}
    for row, place in _once(_rows(data, "tank", TANK, file, text), "id"):
        _name(row["id"], place)
        row["care"] = row["care"] or profile_for(row["species"])
        if row["care"] not in names:
            raise place.wrong(f"care = {row['care']!r} is no care profile.", f"Known: {', '.join(names)}.", "care")
        row["name"] = row["name"] or row["id"]
        tanks[row["id"]] = Tank(**row)
    return tuple(tanks.values())


def _probes(data: dict[str, Any], file: str, text: str, tanks: set[str]) -> tuple[Probe, ...]:
    probes: dict[str, Probe] = {}
    own = {key.name for key in PROBE}
    for (row, place), (full, _) in zip(
        _rows(data, "probe", PROBE, file, text, rest=True), _list(data, "probe", file, text), strict=True
    ):
        _name(row["id"], place)
        if row["id"] in probes:
            raise place.wrong(f"id = {row['id']!r} stands twice.", "Give each probe its own id.", "id")
        if row["tank"] is not None and row["tank"] not in tanks:
            raise place.wrong(f"tank = {row['tank']!r} is no tank.", f"Known: {', '.join(sorted(tanks))}.", "tank")
        probes[row["id"]] = Probe(
            id=row["id"],
            driver=row["driver"],
            tank=row["tank"],
            every_s=row["every_s"],
            values=_values(row["value"], place, data["probe"]),
            options={name: value for name, value in full.items() if name not in own},
            line=place.line(),
        )
    return tuple(probes.values())


def _values(rows: list[Any], place: Place, probes: list[dict[str, Any]]) -> tuple[Value, ...]:
    before = sum(len(probe.get("value", ())) for probe in probes[: place.index])
    values = []
    for offset, row in enumerate(rows):
        if not isinstance(row, dict):
            raise place.wrong("value must be tables.", "Write [[probe.value]] below the probe.", "value")
        inner = Place(place.file, place.text, f"{place.table}.value", before + offset)
        got = take(row, VALUE, inner if inner.line() else place, rest=True)
        if not 0 < len(got["unit"]) <= 32 or not got["unit"].isprintable():
            raise inner.wrong(f"unit = {got['unit'][:40]!r} is not usable.", "Give 1 to 32 characters.", "unit")
        own = {key.name for key in VALUE}
        got["quantity"], got["checks"] = Quantity(got["quantity"]), _checks(got["checks"], inner)
        values.append(Value(**got, options={name: value for name, value in row.items() if name not in own}))
    if not values:
        raise place.wrong("has no value.", "Add a [[probe.value]] table with quantity and unit.")
    return tuple(values)


def _checks(table: dict[str, Any], place: Place) -> dict[str, float]:
    for name, value in table.items():
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise place.wrong(f"checks.{name} = {value!r} should be a number.", "", "checks")
    return {name: float(value) for name, value in table.items()}


def _name(name: str, place: Place) -> None:
    if not PROBE_ID.match(name):
        raise place.wrong(f"id = {name!r} is not usable:", PROBE_ID_RULE + ".", "id")
