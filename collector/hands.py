"""The computer's own clocks as they stand: wall time, time since boot, and what the kernel says of the first.

Must not do: decide whether a clock is to be believed (``clock.py`` does), or set one.
"""

from __future__ import annotations

import ctypes
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
BATTERY_CLOCKS = Path("/sys/class/rtc")
STA_UNSYNC = 0x40
"""The bit of adjtimex(2)'s status that says: nobody keeps this clock right."""
TIME_ERROR = 5


@dataclass(frozen=True, slots=True)
class Hands:
    """What can be read of time on this computer.

    ``synced``: the kernel says that something keeps the wall clock right; False also when it cannot be asked.
    ``battery``: the wall clock came from a battery clock at boot. ``boot_id`` changes with every boot.
    """

    wall_ms: Callable[[], int]
    boot_ms: Callable[[], int]
    synced: Callable[[], bool]
    boot_id: str
    battery: bool


class _Timex(ctypes.Structure):
    """``struct timex`` up to its status, with room for what follows."""

    _fields_ = (
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("freq", ctypes.c_long),
        ("maxerror", ctypes.c_long),
        ("esterror", ctypes.c_long),
        ("status", ctypes.c_int),
        ("rest", ctypes.c_byte * 512),
    )


def wall_ms() -> int:
    """The wall clock, whole milliseconds UTC since 1970."""
    return time.time_ns() // 1_000_000


def boot_ms() -> int:
    """Whole milliseconds since this computer started, sleep included; nobody can set this clock."""
    return time.clock_gettime_ns(getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)) // 1_000_000


def kernel_synced() -> bool:
    """Whether the kernel says that the wall clock is kept right by a time source."""
    if sys.platform != "linux":
        return False
    record = _Timex()
    try:
        found = ctypes.CDLL(None, use_errno=True).adjtimex(ctypes.byref(record))
    except (OSError, AttributeError):
        return False
    return 0 <= found != TIME_ERROR and not record.status & STA_UNSYNC


def hands() -> Hands:
    """This computer's."""
    try:
        boot_id = BOOT_ID.read_text(encoding="ascii").strip()
    except OSError:
        boot_id = f"began {wall_ms() - boot_ms()}"  # no such file: then a boot is told by when it was
    return Hands(wall_ms, boot_ms, kernel_synced, boot_id, _battery())


def _battery() -> bool:
    """Whether the kernel set the wall clock from a battery clock when it started."""
    try:
        return any(one.read_text(encoding="ascii").strip() == "1" for one in BATTERY_CLOCKS.glob("*/hctosys"))
    except OSError:
        return False
