"""The places of imported files in the data folder: what was given, what was not taken, and how much may come.

Must not do: look into a file.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

from api.domain.errors import InputError
from api.domain.import_job import GivenFile, ImportJob

LEAST_FREE = 200_000_000
"""So much of the disk stays free for readings, whatever is imported. [bytes]"""
PIECE = 1_000_000
UNSAFE = re.compile(r"[^\w.\- ]+")
MOST_NAME = 120


def safe_name(name: str) -> str:
    """A file's own name without what no file name can hold."""
    plain = UNSAFE.sub("_", own_name(name)).strip(" .")
    return plain[-MOST_NAME:] or "file"


def own_name(name: str) -> str:
    """A file's own name, without folders, on one line."""
    return " ".join(re.split(r"[/\\]", name)[-1].split())[-MOST_NAME:]


class ImportFolder:
    """``imports`` in the data folder."""

    def __init__(self, data: Path) -> None:
        self.path = data / "imports"

    def room(self) -> int:
        """How much may still come. [bytes]"""
        self.path.mkdir(parents=True, exist_ok=True, mode=0o700)
        return max(0, shutil.disk_usage(self.path).free - LEAST_FREE)

    def check_room(self, name: str, size: int) -> None:
        """Raises InputError for a file that would fill the disk."""
        room = self.room()
        if size > room:
            raise InputError(
                f"{name}: {size / 1e6:.0f} MB are too much: the disk of {self.path} has room for {room / 1e6:.0f} MB"
                f" ({LEAST_FREE / 1e6:.0f} MB stay free for readings). Make room there, or import the file in parts"
            )

    def arriving(self, mark: str) -> Path:
        """Where a file is written while it comes."""
        self.path.mkdir(parents=True, exist_ok=True, mode=0o700)
        return self.path / f".{mark}.arriving"

    def arrived(self, arriving: Path, name: str, digest: str) -> GivenFile:
        """Give a file that came whole its place."""
        place = self.path / digest[:16] / safe_name(name)
        place.parent.mkdir(exist_ok=True, mode=0o700)
        if place.exists() and place.stat().st_size == arriving.stat().st_size:
            arriving.unlink()  # the same file once more; another import may be reading it
        else:
            arriving.replace(place)
        return given_file(place, own_name(name), digest, ours=True)

    def copy(self, source: Path, told: Callable[[int], object] = lambda size: None) -> GivenFile:
        """A copy of a file; ``told`` gets the size of each piece.

        Raises InputError when it cannot be read or would fill the disk.
        """
        arriving = self.arriving(f"copy-{os.getpid()}")
        try:
            with source.open("rb") as file, arriving.open("wb") as copy:
                self.check_room(source.name, os.fstat(file.fileno()).st_size)
                digest = pumped(file, copy, told)
                copy.flush()
                os.fsync(copy.fileno())
            return self.arrived(arriving, source.name, digest)
        except OSError as error:
            raise InputError(f"cannot copy {source} to {self.path}: {error.strerror or error}") from error
        finally:
            arriving.unlink(missing_ok=True)

    def remove(self, path: Path) -> None:
        """Delete a file that was given, and its folder."""
        path.unlink(missing_ok=True)
        if path.parent.parent == self.path and path.parent.is_dir() and not any(path.parent.iterdir()):
            path.parent.rmdir()

    def report_of(self, job: ImportJob) -> Path:
        """The file of what a job did not take."""
        return self.path / f"{job.id}-{Path(safe_name(job.file.name)).stem}-refused.csv"


def given_file(path: Path, name: str, digest: str, *, ours: bool) -> GivenFile:
    """A file as it lies there now."""
    found = path.stat()
    return GivenFile(name, str(path), found.st_size, found.st_mtime_ns, digest, ours)


def digest_of(path: Path) -> str:
    """SHA-256 of a file.

    Raises InputError when it cannot be read.
    """
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise InputError(f"cannot read {path}: {error.strerror or error}") from error


def pumped(source: BinaryIO, target: BinaryIO, told: Callable[[int], object]) -> str:
    """Copy all of it, piece by piece, and return its SHA-256."""
    digest = hashlib.sha256()
    while piece := source.read(PIECE):
        target.write(piece)
        digest.update(piece)
        told(len(piece))
    return digest.hexdigest()
