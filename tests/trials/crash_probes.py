"""Numbered probes on pseudo-terminals: each reading is a running number, so that one lost or doubled has a name.

Three kinds, as in ``crash.py``: with a memory, asked, and speaking by themselves. Must not do: judge what became of a
number, or speak while nobody has the port open.
"""

from __future__ import annotations

import os
import time
import tty
from abc import ABC, abstractmethod
from collections import deque
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

FIRST = 100_001
"""Six digits, so that a number that was torn is none that anybody said."""
BEAT_S, ASKED_EVERY_S, AGAIN_S, SETTLED_S = 0.5, 2.0, 2.0, 2.0
TABLE = """
[[tank]]
id = "t-{id}"
[[probe]]
id = "{id}"
tank = "t-{id}"
driver = "serial_lines"
port = "{port}"
{keys}
[[probe.value]]
quantity = "level"
unit = "cm"
field = {field}
"""


class Fate(Enum):
    """What the trial knows of a number from the probe's side; see the top of ``crash.py``."""

    OPEN = "open"
    SENT = "sent"
    DOUBT = "in doubt"
    MEMORY = "in memory only"


@dataclass
class Saying:
    """One number: when it was first said, and what is known of it."""

    at_s: float
    fate: Fate = Fate.OPEN


class Probe(ABC):
    """What all kinds have in common: the port and the running number."""

    KEYS, FIELD = "every_s = 1", 1

    def __init__(self, name: str, link: Path) -> None:
        self.id, self.link = name, link
        self.fd, port = os.openpty()
        tty.setraw(port)
        link.symlink_to(os.ttyname(port))
        os.close(port)  # so that the probe sees whether a collector has the port open
        os.set_blocking(self.fd, False)
        self.said: dict[int, Saying] = {}
        self.there = False

    def table(self) -> str:
        """Its part of the room file."""
        return TABLE.format(id=self.id, port=self.link, keys=self.KEYS, field=self.FIELD)

    def _new(self, now_s: float) -> int:
        number = FIRST + len(self.said)
        self.said[number] = Saying(now_s)
        return number

    def _write(self, line: str) -> None:
        try:
            os.write(self.fd, line.encode("ascii"))
        except BlockingIOError:
            pass  # nobody has read for long; a memory says it again, the others count it as in doubt or lost

    def turn(self, there: bool, now_s: float, late: bool) -> None:
        """Time passes. ``there``: somebody has the port open; ``late``: the bench itself was held up."""
        data = self._read()
        if self.there and not there:
            self.gone(now_s)
        self.there = there
        if there:
            self._hear(data, now_s, late)
            self._tick(now_s)

    def _read(self) -> bytes:
        try:
            return os.read(self.fd, 4096)
        except (BlockingIOError, OSError):
            return b""  # nothing said, or nobody there

    def gone(self, now_s: float) -> None:
        """The collector died or let go of the port: what it was told last is in doubt."""
        self.there = False
        while self._read():
            pass

    def rest(self, now_s: float) -> None:  # noqa: B027 - only those that speak by themselves have something to end
        """Nothing more is to be said."""

    @abstractmethod
    def _hear(self, data: bytes, now_s: float, late: bool) -> None:
        """What the collector said."""

    @abstractmethod
    def _tick(self, now_s: float) -> None:
        """Say what is to be said by now."""

    def close(self) -> None:
        """Pull it out."""
        os.close(self.fd)


class Remembering(Probe):
    """Says a number with its own time until the collector says that it is on its disk."""

    KEYS, FIELD = 'every_s = 1\nacknowledge = "OK\\n"\ntime_field = 1\ntime_format = "unix"', 2

    def __init__(self, name: str, link: Path) -> None:
        super().__init__(name, link)
        self._waiting: deque[int] = deque()
        self._heard, self._line, self._number, self._said_s, self._resting = b"", "", 0, 0.0, False

    def _hear(self, data: bytes, now_s: float, late: bool) -> None:
        self._heard += data
        while b"OK\n" in self._heard:
            _, self._heard = self._heard.split(b"OK\n", 1)
            # lines are acknowledged in their order: an acknowledgement never stands for a later line
            number = self._waiting.popleft() if self._waiting else 0
            if number and number == self._number:
                self.said[number].fate, self._number = Fate.SENT, 0
            elif self._number:
                self._say(now_s)

    def _tick(self, now_s: float) -> None:
        if not self._number and not self._resting and now_s - self._said_s >= BEAT_S:
            self._number = self._new(now_s)
            self._line = f"{time.time():.3f},{self._number}\n"
            self._say(now_s)
        elif self._number and now_s - self._said_s >= AGAIN_S:
            self._say(now_s)

    def _say(self, now_s: float) -> None:
        self._waiting.append(self._number)
        self._said_s = now_s
        self._write(self._line)

    def gone(self, now_s: float) -> None:
        """It will say its number again; of older lines no acknowledgement will come."""
        super().gone(now_s)
        self._waiting.clear()
        self._heard, self._said_s = b"", 0.0

    def rest(self, now_s: float) -> None:
        """The last number is said until it is acknowledged, no new one."""
        self._resting = True


class Asked(Probe):
    """Answers a question with the next number; the next question of the same collector says that it was kept."""

    KEYS = f'every_s = {ASKED_EVERY_S}\npoll = "?\\n"'

    def __init__(self, name: str, link: Path) -> None:
        super().__init__(name, link)
        self._heard, self._number, self._resting = b"", 0, False

    def _hear(self, data: bytes, now_s: float, late: bool) -> None:
        self._heard += data
        while b"?\n" in self._heard:
            _, self._heard = self._heard.split(b"?\n", 1)
            if self._number:
                # asked anew soon after the answer: it came too late and was turned away
                in_time = now_s - self.said[self._number].at_s > ASKED_EVERY_S / 2
                self._settle(Fate.SENT if in_time else Fate.DOUBT)
            if not self._resting:
                self._number = self._new(now_s)
                self._write(f"{self._number}\n")
                if late:
                    self._settle(Fate.DOUBT)

    def _settle(self, fate: Fate) -> None:
        if self._number:
            self.said[self._number].fate, self._number = fate, 0

    def _tick(self, now_s: float) -> None:
        pass

    def gone(self, now_s: float) -> None:
        """Whether the last answer was kept is not known."""
        super().gone(now_s)
        self._heard = b""
        self._settle(Fate.DOUBT)

    def rest(self, now_s: float) -> None:
        """The next question is only listened to."""
        self._resting = True


class Speaking(Probe):
    """Says a number twice a second, heard or not: what a collector had two seconds of life for counts as sent."""

    def __init__(self, name: str, link: Path) -> None:
        super().__init__(name, link)
        self._said_s, self._resting = 0.0, False
        self._fresh: deque[int] = deque()

    def _hear(self, data: bytes, now_s: float, late: bool) -> None:
        pass

    def _tick(self, now_s: float) -> None:
        while self._fresh and now_s - self.said[self._fresh[0]].at_s > SETTLED_S:
            self.said[self._fresh.popleft()].fate = Fate.SENT
        if not self._resting and now_s - self._said_s >= BEAT_S:
            self._said_s = now_s
            number = self._new(now_s)
            self._fresh.append(number)
            self._write(f"{number}\n")

    def gone(self, now_s: float) -> None:
        """Whether the last lines were kept is not known."""
        super().gone(now_s)
        while self._fresh:
            self.said[self._fresh.popleft()].fate = Fate.DOUBT

    def rest(self, now_s: float) -> None:
        """Fall silent."""
        self._resting = True
