"""A backup as it lies on disk: one folder with its manifest, which alone makes it whole.

Must not do: let a half one look whole, or remove anything that is not a whole backup.
"""

from __future__ import annotations

import fcntl
import hashlib
import json
import os
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from api.domain.errors import InputError
from api.storage.base import StoreUnavailable

NAME = re.compile(r"intermolt-\d{8}-\d{6}\Z")
PARTIAL, MANIFEST, LOCK = ".partial-", "manifest.json", ".backup.lock"
KIND = "intermolt backup"
CHUNK = 1 << 20


@dataclass(frozen=True, slots=True)
class Kept:
    """One file of a backup, by its name inside the folder."""

    name: str
    size_bytes: int
    sha256: str


def name_at(now_ms: int) -> str:
    """The folder's name for a moment, in UTC."""
    return f"intermolt-{datetime.fromtimestamp(now_ms / 1000, UTC):%Y%m%d-%H%M%S}"


@contextmanager
def partial_folder(to: Path, name: str) -> Iterator[Path]:
    """A folder to fill; it gets its name only when the block ends well, all of it on disk.

    One backup at a time works in ``to``; what an ended one left behind is cleared away.
    Raises InputError when ``to`` cannot be used or the name is taken, StoreUnavailable when the disk fails on the way.
    """
    lock = _locked(to)
    try:
        for left in to.glob(f"{PARTIAL}*"):
            shutil.rmtree(left, ignore_errors=True)
        if (to / name).exists():
            raise InputError(f"{to / name} is there already; try again in a second")
        folder = to / f"{PARTIAL}{name}"
        try:
            folder.mkdir(mode=0o700)
            yield folder
            for inner in [*(path for path in folder.rglob("*") if path.is_dir()), folder]:
                _flush_folder(inner)
            folder.rename(to / name)
            _flush_folder(to)
        except BaseException as error:
            shutil.rmtree(folder, ignore_errors=True)
            if isinstance(error, OSError):
                raise StoreUnavailable(f"cannot write the backup into {to}: {error.strerror or error}") from error
            raise
    finally:
        os.close(lock)


def _locked(to: Path) -> int:
    try:
        to.mkdir(parents=True, exist_ok=True, mode=0o700)
        lock = os.open(to / LOCK, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    except OSError as error:
        raise InputError(f"cannot write backups into {to}: {error.strerror}; give another folder with --to") from error
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        os.close(lock)
        raise InputError(f"another backup is being made in {to}; wait until it ends") from error
    return lock


def put(source: Path, target: Path) -> None:
    """Copy a small file, for its owner's eyes only, and force it to disk."""
    target.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    descriptor = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "wb") as out, source.open("rb") as file:
        shutil.copyfileobj(file, out, CHUNK)
        out.flush()
        os.fsync(out.fileno())


def describe(folder: Path) -> list[Kept]:
    """Every file in a folder, its size and its SHA-256."""
    found = sorted(path for path in folder.rglob("*") if path.is_file() and path.name != MANIFEST)
    return [Kept(str(path.relative_to(folder)), path.stat().st_size, _sha256(path)) for path in found]


def write_manifest(folder: Path, body: dict[str, Any], files: list[Kept]) -> None:
    """The last file of a backup."""
    rows = [{"name": one.name, "bytes": one.size_bytes, "sha256": one.sha256} for one in files]
    descriptor = os.open(folder / MANIFEST, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8") as out:
        json.dump({"kind": KIND, "layout": 1, **body, "files": rows}, out, indent=2)
        out.flush()
        os.fsync(out.fileno())


def read_manifest(folder: Path) -> tuple[dict[str, Any], list[Kept]]:
    """What a backup says of itself.

    Raises InputError when the folder is no backup.
    """
    path = folder / MANIFEST
    try:
        body = json.loads(path.read_text(encoding="utf-8"))
        if not isinstance(body, dict) or body.get("kind") != KIND or body.get("layout") != 1:
            raise ValueError("it does not describe a backup that this version can read")
        files = [Kept(_inside(row["name"]), int(row["bytes"]), str(row["sha256"])) for row in body["files"]]
    except OSError as error:
        raise InputError(
            f"{folder} is no whole backup: {path} cannot be read ({error.strerror});"
            " give a folder intermolt-YYYYMMDD-HHMMSS that 'intermolt backup' made"
        ) from error
    except (ValueError, KeyError, TypeError) as error:
        raise InputError(f"{path} cannot be used: {error}; take another backup") from error
    return body, files


def _inside(name: object) -> str:
    path = Path(str(name))
    if path.is_absolute() or ".." in path.parts:
        raise ValueError(f"it names a file outside the folder, {name!r}")
    return str(path)


def faults(folder: Path, files: list[Kept]) -> list[str]:
    """Each file that is missing or is not what the manifest says."""
    out = []
    for one in files:
        path = folder / one.name
        if not path.is_file():
            out.append(f"{path} is missing")
        elif path.stat().st_size != one.size_bytes:
            out.append(f"{path} has {path.stat().st_size} bytes, not the {one.size_bytes} written")
        elif _sha256(path) != one.sha256:
            out.append(f"{path} has changed since it was written (SHA-256 differs)")
    return out


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def whole(to: Path) -> list[Path]:
    """The backups in a folder that have a manifest and every file in its size, oldest first."""
    return [path for path in sorted(to.iterdir()) if NAME.match(path.name) and path.is_dir() and _looks_whole(path)]


def _looks_whole(folder: Path) -> bool:
    try:
        _, files = read_manifest(folder)
        return all((folder / one.name).stat().st_size == one.size_bytes for one in files)
    except (InputError, OSError):
        return False


def remove(folder: Path) -> None:
    """Take a whole backup away: first its name, so that what a kill leaves behind does not look like one.

    Raises StoreUnavailable when it cannot be removed.
    """
    try:
        going = folder.with_name(f"{PARTIAL}{folder.name}")
        folder.rename(going)
        shutil.rmtree(going)
    except OSError as error:
        raise StoreUnavailable(f"the old backup {folder} cannot be removed: {error.strerror or error}") from error


def _flush_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
