"""A small disk of its own for a program's folder, filled to the last byte and freed again.

Needs root (a tmpfs is mounted); the trial runs in a mount name space of its own, so that none is left behind.
Must not do: touch any other disk.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

SIZE, LATELY_S = "64m", 6.0
OWN_MOUNTS = "INTERMOLT_TRIAL_MOUNTS"
BLOCK = b"\0" * 65536


def with_own_mounts(module: str, arguments: Sequence[str]) -> None:
    """Start this program again where its mounts are its own; returns when that was done or cannot be done."""
    if os.geteuid() != 0 or OWN_MOUNTS in os.environ:
        return
    try:
        if subprocess.run(["unshare", "--mount", "true"], capture_output=True, check=False).returncode != 0:
            return
    except FileNotFoundError:
        return
    command = ["unshare", "--mount", sys.executable, "-m", module, *arguments]
    os.execvpe(command[0], command, {**os.environ, OWN_MOUNTS: "1"})  # noqa: S606 - our own program


class Disk:
    """A folder; ``small`` when it is a disk that can be filled."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir(parents=True)
        self.small = OWN_MOUNTS in os.environ and self._mount()
        self._ballast = folder / "ballast"
        self.full = False
        self._freed_s = float("-inf")

    @property
    def lately_full(self) -> bool:
        """Whether it is full, or was a moment ago: a program that started then may give up now."""
        return self.full or time.monotonic() - self._freed_s < LATELY_S

    def _mount(self) -> bool:
        command = ["mount", "-t", "tmpfs", "-o", f"size={SIZE},mode=0700", "tmpfs", str(self.folder)]
        return subprocess.run(command, capture_output=True, check=False).returncode == 0

    def fill(self) -> None:
        """Not a byte is left."""
        self.full = True
        with self._ballast.open("ab", buffering=0) as file:
            for size in (len(BLOCK), 4096, 1):
                try:
                    while True:
                        file.write(BLOCK[:size])
                except OSError:
                    continue

    def close(self) -> None:
        """Take the disk away with all that is on it, so that the folder can be removed."""
        if self.small:
            subprocess.run(["umount", "--lazy", str(self.folder)], capture_output=True, check=False)

    def free(self) -> None:
        """There is room again."""
        self._ballast.unlink(missing_ok=True)
        self.full, self._freed_s = False, time.monotonic()
