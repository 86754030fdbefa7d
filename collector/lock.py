"""A lock on the data folder, so that two collectors never share one spool.

Must not do: outlive its process; the system lets go of the lock when the process ends, however it ends.
"""

from __future__ import annotations

import fcntl
import os
from pathlib import Path
from types import TracebackType

from api.domain.errors import InputError
from collector.errors import DataDirInUse

NAME = "collector.lock"


class DataDirLock:
    """Holds the folder for this process, as a context manager."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._fd: int | None = None

    def __enter__(self) -> DataDirLock:
        """Make the folder if need be and lock it.

        Raises DataDirInUse, and InputError when the folder cannot be made or written.
        """
        try:
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            fd = os.open(self.folder / NAME, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as error:
            raise InputError(
                f"{self.folder} cannot hold the readings: {error.strerror}; give --data a folder"
            ) from error
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            holder = os.read(fd, 20).decode("ascii", "replace").strip()
            os.close(fd)
            raise DataDirInUse(str(self.folder), holder) from error
        try:
            os.ftruncate(fd, 0)
            os.write(fd, f"{os.getpid()}\n".encode())
        except OSError:
            pass  # a full disk: the number only makes another collector's message clearer
        self._fd = fd
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._fd is not None:
            os.close(self._fd)
            self._fd = None


def holder(folder: Path) -> str | None:
    """The process that collects into this folder now, as text; None when none does."""
    try:
        fd = os.open(folder / NAME, os.O_RDONLY | os.O_CLOEXEC)
    except OSError:
        return None
    try:
        fcntl.flock(fd, fcntl.LOCK_SH | fcntl.LOCK_NB)
        return None
    except OSError:
        return os.read(fd, 20).decode("ascii", "replace").strip() or "unknown"
    finally:
        os.close(fd)
