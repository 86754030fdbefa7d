"""The lock of a data folder: whoever keeps readings there holds it, and it ends with the process, however that ends.

Must not do: wait, or say what to do about a folder that is taken.
"""

from __future__ import annotations

import fcntl
import os
from pathlib import Path

LOCK = "service.lock"


def hold(data: Path) -> int | None:
    """Take the folder; the lock is over when the descriptor is closed. None: somebody else holds it.

    Raises OSError when the folder cannot be written.
    """
    descriptor = os.open(data / LOCK, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(descriptor)
        return None
    return descriptor


def held(data: Path) -> bool:
    """Whether a service, or a command in its place, works on the folder, as far as can be seen."""
    if not (data / LOCK).exists():
        return False
    try:
        descriptor = hold(data)
    except OSError:
        return False
    if descriptor is not None:
        os.close(descriptor)
    return descriptor is None
