"""A wall clock that goes wrong as a file says, for one program; the trial copies this file beside it as sitecustomize.

Changed are what Python tells as the wall time and what the kernel says of it (adjtimex); time since boot stays.
Must not do: import anything of ours, or do anything in a program that is not told of such a file.
"""

from __future__ import annotations

import ctypes
import os
import time
from typing import Any

VARIABLE = "INTERMOLT_TRIAL_CLOCK"
STA_UNSYNC, TIME_ERROR = 0x40, 5


def words(offset_ms: int, synced: bool) -> bytes:
    """What the file holds: the offset twice, so that a reader sees when it was half written."""
    return f"{offset_ms:+014d} {int(synced)} {offset_ms:+014d}\n".encode()


def install(path: str) -> None:
    """From here on this program's wall clock is the file's."""
    descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    right_ns = time.time_ns

    def said() -> tuple[int, bool]:
        while True:
            first, synced, last = os.pread(descriptor, 64, 0).split()
            if first == last:
                return int(first), synced == b"1"

    def time_ns() -> int:
        return right_ns() + said()[0] * 1_000_000

    def seconds() -> float:
        return time_ns() / 1e9

    class Kernel(ctypes.CDLL):
        """The system's library, but for its word of the clock."""

        def adjtimex(self, pointer: Any) -> int:
            synced = said()[1]
            pointer._obj.status = 0 if synced else STA_UNSYNC
            return 0 if synced else TIME_ERROR

    for place, name, made in ((time, "time_ns", time_ns), (time, "time", seconds), (ctypes, "CDLL", Kernel)):
        setattr(place, name, made)


if VARIABLE in os.environ:
    install(os.environ[VARIABLE])
