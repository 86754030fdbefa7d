"""``intermolt restore``: a backup becomes what the service keeps; what was there before is put aside.

Must not do: delete anything, touch what waits in the collector's spool, or work beside a running service.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from api.app import now_ms
from api.backup_command import ROOM_FOLDER, ROOM_NAME
from api.domain.errors import InputError
from api.folder_lock import hold
from api.service import DATABASE
from api.settings import Settings
from api.storage import backup_folder
from api.storage.backup import examine, fold, unknown_steps
from api.storage.backup_folder import Kept
from api.storage.base import StoreUnavailable

STAGE = ".restoring"


def restore(mine: Settings, name: str) -> int:
    """Put a backup in place: 0, or 1 when the backup is not whole or could not be put in place.

    Raises InputError when the folder is no backup, when a newer version made it, or while a service runs here.
    """
    folder = Path(name).resolve()
    body, files = backup_folder.read_manifest(folder)
    try:
        with _alone(mine.data):
            _sound(folder, files)
            aside = mine.data / f"before-restore-{backup_folder.name_at(now_ms()).removeprefix('intermolt-')}"
            told = _put_in_place(mine, folder, files, aside)
    except StoreUnavailable as error:
        print(f"intermolt: {error}", file=sys.stderr)
        return 1
    except OSError as error:
        what = f"{error.filename or mine.data}: {error.strerror or error}"
        print(f"intermolt: {what}; nothing was deleted: make room or give rights, then run it again", file=sys.stderr)
        return 1
    print(f"{folder}: in place in {mine.data}; {body.get('readings')} readings, {body.get('alerts')} alerts")
    print("\n".join(told))
    return 0


@contextmanager
def _alone(data: Path) -> Iterator[None]:
    try:
        data.mkdir(parents=True, exist_ok=True, mode=0o700)
        lock = hold(data)
    except OSError as error:
        raise InputError(f"{data} cannot be used: {error.strerror}; give another folder with --data") from error
    if lock is None:
        raise InputError(f"a service works on {data}: stop it first, then restore")
    try:
        yield
    finally:
        os.close(lock)


def _sound(folder: Path, files: list[Kept]) -> None:
    if DATABASE not in {one.name for one in files}:
        raise StoreUnavailable(f"{folder} is not whole: its manifest names no {DATABASE}; take another backup")
    wrong = backup_folder.faults(folder, files)
    if wrong:
        raise StoreUnavailable(f"{folder} is not whole: {'; '.join(wrong)}. Nothing was changed; take another backup")
    found, wrong = examine(folder / DATABASE)
    if found is None:
        raise StoreUnavailable(
            f"{folder / DATABASE} is damaged: {'; '.join(wrong)}. Nothing was changed; take another backup"
        )
    newer = unknown_steps(found.schema)
    if newer:
        raise InputError(f"{folder} was made by a newer version (it knows {newer[-1]!r}); install that version first")


def _put_in_place(mine: Settings, folder: Path, files: list[Kept], aside: Path) -> list[str]:
    """Stage everything on the data folder's own disk, put the old aside, move the new in; what to tell the keeper."""
    stage = mine.data / STAGE
    shutil.rmtree(stage, ignore_errors=True)
    try:
        for one in files:
            backup_folder.put(folder / one.name, stage / one.name)
            _like(stage / one.name, mine.data)
        if (mine.data / DATABASE).exists():
            fold(mine.data / DATABASE)
        aside.mkdir(mode=0o700)
        for ending in ("-wal", "-shm"):  # another database's log must never lie beside the new file
            _aside(mine.data / f"{DATABASE}{ending}", aside, copy=False)
        for one in files:
            if Path(one.name).parts[0] != ROOM_FOLDER:
                _aside(mine.data / one.name, aside)
                (stage / one.name).replace(mine.data / one.name)
        told = []
        if any(aside.iterdir()):
            told = [f"What was there before is in {aside}: what came after the backup is only there."]
        told += _room(mine, stage, files, aside)
    finally:
        shutil.rmtree(stage, ignore_errors=True)
        if aside.is_dir() and not any(aside.iterdir()):
            aside.rmdir()
    return [
        *told,
        "Readings that wait in the collector's spool stay there and are sent when the service runs.",
        "Next: start the service and the collector again (the collector reads its token anew), then look at the room"
        " page.",
    ]


def _like(path: Path, model: Path) -> None:
    """Restored by root, a file still belongs to whom it belonged, so that the service can read it."""
    if os.geteuid() == 0:
        owner = model.stat()
        os.chown(path, owner.st_uid, owner.st_gid)


def _aside(path: Path, aside: Path, *, copy: bool = True) -> None:
    """Put a file aside; as a second name where the disk can, so that its place is never empty."""
    if not path.exists():
        return
    if copy:
        try:
            os.link(path, aside / path.name)
            return
        except OSError:
            pass  # a disk without links: for a moment the place is empty
    path.rename(aside / path.name)


def _room(mine: Settings, stage: Path, files: list[Kept], aside: Path) -> list[str]:
    """Put the room file, and what it names beside it, where they belong; told when that cannot be done."""
    told = []
    for one in files:
        if Path(one.name).parts[0] != ROOM_FOLDER:
            continue
        inner = Path(one.name).relative_to(ROOM_FOLDER)
        place = mine.room if str(inner) == ROOM_NAME else mine.room.parent / inner
        if place.exists() and place.read_bytes() == (stage / one.name).read_bytes():
            continue
        try:
            if place.exists():
                backup_folder.put(place, aside / ROOM_FOLDER / inner)
            arriving = place.with_name(f".{place.name}.restoring")
            arriving.unlink(missing_ok=True)
            backup_folder.put(stage / one.name, arriving)
            if place.exists():
                _like(arriving, place)
                shutil.copymode(place, arriving)
            arriving.replace(place)
            told.append(f"{place}: as in the backup")
        except OSError as error:
            told.append(
                f"{place}: left as it is ({error.strerror}); the backup's differs, copy it there if you want it"
            )
    return told
