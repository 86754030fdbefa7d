"""A small disk of its own, in memory, that can be filled to the last byte and emptied again; needs root.

Must not do: fill any other disk.
"""

from __future__ import annotations

import os
import subprocess
from pathlib import Path
from types import TracebackType

CHUNK = b"\0" * 65_536


def may_mount() -> bool:
    """Whether this process can mount at all."""
    return os.geteuid() == 0


class SmallDisk:
    """Mounted on ``folder`` while it is used as a context."""

    def __init__(self, folder: Path, megabytes: int) -> None:
        self.folder, self._megabytes = folder, megabytes
        self._ballast = folder / "ballast"

    def fill(self) -> None:
        """Take every byte that is left."""
        fd = os.open(self._ballast, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
        try:
            for chunk in (CHUNK, CHUNK[:512], CHUNK[:1]):
                try:
                    while os.write(fd, chunk):
                        pass
                except OSError:
                    continue
        finally:
            os.close(fd)

    def empty(self) -> None:
        """Give the space back."""
        self._ballast.unlink()

    def __enter__(self) -> SmallDisk:
        self.folder.mkdir(exist_ok=True)
        options = f"size={self._megabytes}m,mode=700"
        subprocess.run(["mount", "-t", "tmpfs", "-o", options, "intermolt-test", str(self.folder)], check=True)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        subprocess.run(["umount", "--lazy", str(self.folder)], check=True)
