"""``intermolt backup``: a whole, checked copy of everything the service keeps, made while it runs.

Must not do: stop the service, or call a copy whole that was not opened and read.
"""

from __future__ import annotations

import os
import platform
import shutil
import sqlite3
import sys
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

from api.app import now_ms
from api.domain.errors import InputError
from api.room_text import read_room
from api.service import DATABASE
from api.settings import Settings
from api.storage import backup_folder
from api.storage.backup import Contents, copy_database, examine
from api.storage.base import StoreUnavailable

ROOM_FOLDER, ROOM_NAME = "room", "room.toml"
KEYS = ("*.token", "*.key")
SPARE_BYTES = 16_000_000
FOLDER = "intermolt-backups"


def backup(mine: Settings, to: str | None, keep: int | None) -> int:
    """Make a backup, then let go of the oldest ones beyond ``keep``: 0, or 1 when it could not be made whole.

    Raises InputError when there is nothing to copy, or no folder to copy it to.
    """
    if keep is not None and keep < 1:
        raise InputError(f"--keep {keep}: keep 1 backup or more")
    source = mine.data / DATABASE
    if not source.exists():
        raise InputError(f"there is no {source}: nothing was ever kept here; name the folder with --data")
    folder = Path(to).resolve() if to else mine.data.parent / FOLDER
    if folder.is_relative_to(mine.data):
        raise InputError(f"{folder} lies inside {mine.data}, whose copy it would be; give another folder with --to")
    try:
        made, contents = _make(mine, source, folder)
        print(f"{made}: whole; {contents.readings} readings, {contents.alerts} alerts")
        if _same_disk(made, source):
            print("It lies on the same disk as the readings: copy it to another one, or give a folder there with --to.")
        for old in backup_folder.whole(folder)[:-keep] if keep is not None else []:
            backup_folder.remove(old)
            print(f"{old}: removed, {keep} newer ones are kept")
    except StoreUnavailable as error:
        print(f"intermolt: {error}", file=sys.stderr)
        return 1
    return 0


def _make(mine: Settings, source: Path, to: Path) -> tuple[Path, Contents]:
    moment_ms = now_ms()
    name = backup_folder.name_at(moment_ms)
    with backup_folder.partial_folder(to, name) as folder:
        _room_for(source, to)
        contents = copy_database(source, folder / DATABASE)
        _check(folder / DATABASE, source, contents)
        for pattern in KEYS:
            for key in sorted(mine.data.glob(pattern)):
                backup_folder.put(key, folder / key.name)
        if mine.room.exists():
            backup_folder.put(mine.room, folder / ROOM_FOLDER / ROOM_NAME)
            for beside in _named_beside(mine.room):
                backup_folder.put(mine.room.parent / beside, folder / ROOM_FOLDER / beside)
        else:
            print(f"There is no {mine.room}: the room file is not in this backup; name it with --room.")
        backup_folder.write_manifest(folder, _manifest(moment_ms, contents), backup_folder.describe(folder))
    return to / name, contents


def _room_for(source: Path, to: Path) -> None:
    """Refuse before the work when the disk cannot hold the copy."""
    needed = source.stat().st_size + SPARE_BYTES
    free = shutil.disk_usage(to).free
    if free < needed:
        raise StoreUnavailable(
            f"the backup needs {needed / 1e6:.0f} MB and {to} has {free / 1e6:.0f} MB free:"
            " make room there, or give a folder on another disk with --to"
        )


def _check(copy: Path, source: Path, expected: Contents) -> None:
    found, wrong = examine(copy)
    if wrong:
        raise StoreUnavailable(
            f"the copy of {source} is not sound, so it was not kept: {'; '.join(wrong)}."
            " Look at the disk, and keep the backups you have"
        )
    if found != expected:
        raise StoreUnavailable(f"the copy of {source} holds {found}, not {expected}, so it was not kept; try again")


def _named_beside(room: Path) -> list[str]:
    """Files that the room file names and that lie beside it; others are told, as they have to be copied by hand."""
    try:
        mqtt = read_room(room).mqtt
    except InputError as error:
        print(f"The room file is copied as it is, though it cannot be used: {error}")
        return []
    inside = []
    for name in (mqtt.password_file, mqtt.ca_file) if mqtt is not None else ():
        path = Path(name)
        if name and (path.is_absolute() or ".." in path.parts or not (room.parent / path).is_file()):
            print(f"{room} names {name}, which does not lie beside it: not in this backup, keep a copy yourself.")
        elif name and name not in inside:
            inside.append(name)
    return inside


def _manifest(moment_ms: int, contents: Contents) -> dict[str, Any]:
    return {
        "made": datetime.fromtimestamp(moment_ms / 1000, UTC).isoformat(timespec="milliseconds"),
        "intermolt": version("intermolt"),
        "python": platform.python_version(),
        "sqlite": sqlite3.sqlite_version,
        "schema": list(contents.schema),
        "readings": contents.readings,
        "alerts": contents.alerts,
    }


def _same_disk(one: Path, other: Path) -> bool:
    return os.stat(one).st_dev == os.stat(other).st_dev
