"""A small disk of its own for a test, which can be filled to the last byte and emptied again.

Must not do: touch any other disk, or be there when its test has ended.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

PIECES = (65536, 512, 1)
needs_root = pytest.mark.skipif(
    os.geteuid() != 0 or shutil.which("mount") is None, reason="a small disk can be mounted by root only"
)


class SmallDisk:
    """A mounted tmpfs at ``path``."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._ballast = path / "ballast"

    def fill(self) -> None:
        """Leave not a byte."""
        with self._ballast.open("ab", buffering=0) as file:
            for piece in PIECES:
                try:
                    while file.write(b"\0" * piece) == piece:
                        pass
                except OSError:
                    continue

    def empty(self) -> None:
        """Give the space back."""
        self._ballast.unlink()


@contextmanager
def small_disk(folder: Path, size_mb: int) -> Iterator[SmallDisk]:
    """A disk of so many MB in a new folder, taken away at the end."""
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={size_mb}m,mode=0700", "tmpfs", str(folder)]
    subprocess.run(mount, check=True)
    try:
        yield SmallDisk(folder)
    finally:
        subprocess.run(["umount", str(folder)], check=True)
