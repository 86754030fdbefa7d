"""A service manager's ear for tests: the datagram socket that NOTIFY_SOCKET names, and what came in on it.

Must not do: answer, or act on what it hears.
"""

from __future__ import annotations

import os
import select
import socket
import time
from pathlib import Path
from types import TracebackType


class Manager:
    """Use as a context; ``environment`` is for the process that is to be heard."""

    def __init__(self, folder: Path, period_s: float) -> None:
        self._path, self._period_s = folder / "manager", period_s
        self._ear = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK)
        self.status = ""

    @property
    def environment(self) -> dict[str, str]:
        """This process's, with the manager in it."""
        asked = {"NOTIFY_SOCKET": str(self._path), "WATCHDOG_USEC": str(round(self._period_s * 1e6))}
        return {**os.environ, **asked}

    def heard(self, for_s: float, until: str = "") -> list[str]:
        """The words that come in for so long, or until one of them comes."""
        words: list[str] = []
        end_s = time.monotonic() + for_s
        while (left_s := end_s - time.monotonic()) > 0 and (not until or until not in words):
            if select.select([self._ear], [], [], left_s)[0]:
                for line in self._ear.recv(4096).decode().split("\n"):
                    name, _, value = line.partition("=")
                    if name == "STATUS":
                        self.status = value
                    else:
                        words.append(line)
        return words

    def __enter__(self) -> Manager:
        self._ear.bind(str(self._path))
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._ear.close()
