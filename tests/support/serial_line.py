"""The probe's end of a serial line, on a pseudo-terminal, which can be written, listened to and pulled out.

Must not do: understand what goes over it.
"""

from __future__ import annotations

import os
import select
import time
import tty
from pathlib import Path
from types import TracebackType


class SerialLine:
    """One line; ``link`` is a name for its port that stays when it is plugged in anew."""

    def __init__(self, link: Path) -> None:
        self.link = link
        self._probe: int | None = None
        self._port: int | None = None
        self.plug()

    def plug(self) -> None:
        """Plug the probe in: a new port appears, and the link points at it."""
        self._probe, self._port = os.openpty()
        tty.setraw(self._port)
        self.link.unlink(missing_ok=True)
        self.link.symlink_to(os.ttyname(self._port))

    def unplug(self) -> None:
        """Pull the probe out: who reads the port gets an error, and the port is gone."""
        for fd in (self._port, self._probe):
            if fd is not None:
                os.close(fd)
        self._probe = self._port = None

    def say(self, text: str | bytes) -> None:
        """The probe says something."""
        if self._probe is None:
            raise OSError("the probe is unplugged")
        os.write(self._probe, text if isinstance(text, bytes) else text.encode("latin-1"))

    def hear(self, count: int, within_s: float = 3.0) -> bytes:
        """What the probe is told, up to ``count`` bytes."""
        if self._probe is None:
            raise OSError("the probe is unplugged")
        heard = b""
        end_s = time.monotonic() + within_s
        while len(heard) < count and (left_s := end_s - time.monotonic()) > 0:
            if select.select([self._probe], [], [], left_s)[0]:
                heard += os.read(self._probe, count - len(heard))
        return heard

    def __enter__(self) -> SerialLine:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.unplug()
