"""Pseudo-terminals that stand for the probes' serial ports, each under a name that stays.

Linux and other Unix only. Must not do: wait for a reader; what nobody listens to is lost, as on a wire.
"""

from __future__ import annotations

import fcntl
import os
import pty
import select
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from api.domain.errors import InputError

HELD_BYTES = 256
LOCK = "room.lock"
ENDS_WITHIN_S, LOOK_S = 10.0, 0.1
"""A room that was told to end is gone within this; how often that is looked for. [s]"""


class Port:
    """One pseudo-terminal; ``path`` is a symbolic link to it, replaced when the room starts and removed at its end."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._held = b""
        self._master, slave = pty.openpty()
        try:
            tty.setraw(slave)
            os.set_blocking(self._master, False)
            self._device = os.ttyname(slave)
            beside = path.with_name(f".{path.name}.{os.getpid()}.part")
            beside.unlink(missing_ok=True)
            beside.symlink_to(self._device)
            beside.replace(path)
        except OSError:
            os.close(self._master)
            raise
        finally:
            # Held by readers only, so that the terminal tells us when nobody has it open.
            os.close(slave)

    def write(self, line: bytes) -> bool:
        """Say a line to whoever has the port open; False when it, or part of it, was lost."""
        if self._deserted():
            return False
        try:
            return os.write(self._master, line) == len(line)
        except (BlockingIOError, OSError):
            return False

    def asked(self, poll: bytes) -> int:
        """How many times ``poll`` has come in since the last call."""
        if not self._deserted():
            try:
                self._held += os.read(self._master, 4096)
            except (BlockingIOError, OSError):
                pass
        *whole, rest = self._held.split(poll)
        self._held = rest[-HELD_BYTES:]
        return len(whole)

    def _deserted(self) -> bool:
        waiting = select.poll()
        waiting.register(self._master, select.POLLIN)
        return any(event & select.POLLHUP for _, event in waiting.poll(0))

    def close(self) -> None:
        """Take the name away unless another room has put its own there, and hang up."""
        # Hung up first, the next room could be given the same device, and would lose its name here.
        if self.path.is_symlink() and os.readlink(self.path) == self._device:
            self.path.unlink()
        os.close(self._master)


@contextmanager
def alone(folder: Path, stopped: Callable[[], bool], sleep: Callable[[float], None]) -> Iterator[None]:
    """Have the folder of a simulated room to oneself; one that is still ending is waited for.

    Raises InputError when another room works there and does not end.
    """
    folder.mkdir(parents=True, exist_ok=True)
    descriptor = os.open(folder / LOCK, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    try:
        waits = round(ENDS_WITHIN_S / LOOK_S)
        while not _locked(descriptor) and not stopped():
            if waits == 0:
                raise InputError(f"another simulated room works in {folder}; stop it, or give another --data.")
            waits -= 1
            sleep(LOOK_S)
        yield
    finally:
        os.close(descriptor)


def _locked(descriptor: int) -> bool:
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True
