"""How far a long reading is: a bar in a terminal, a plain line every few seconds elsewhere.

Must not do: anything with the readings.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from tqdm import tqdm

PLAIN_EVERY_S = 5.0


class Progress(Protocol):
    """Shows ``done`` of ``total`` readings, and what it is waiting for."""

    def update(self, done: int, total: int, trouble: str) -> None:
        """Show the figures as they are now."""

    def close(self) -> None:
        """Show them a last time and let go of the line."""


class Bar:
    """A bar on the terminal."""

    def __init__(self, total: int) -> None:
        self._bar = tqdm(total=total, unit=" readings", file=sys.stderr, dynamic_ncols=True, smoothing=0.1)

    def update(self, done: int, total: int, trouble: str) -> None:
        """Show the figures as they are now."""
        self._bar.total = total
        self._bar.set_postfix_str(trouble[:60], refresh=False)
        self._bar.update(done - self._bar.n)
        self._bar.refresh()

    def close(self) -> None:
        """Leave the bar as it stands."""
        self._bar.close()


class Plain:
    """A line every few seconds, for journals and pipes."""

    def __init__(
        self,
        total: int,
        monotonic: Callable[[], float] = time.monotonic,
        write: Callable[[str], None] = lambda text: print(text, file=sys.stderr, flush=True),
    ) -> None:
        self._monotonic, self._write = monotonic, write
        self._start_s = self._said_s = monotonic()
        self._last = (0, total, "")

    def update(self, done: int, total: int, trouble: str) -> None:
        """Say the figures when the last line is old enough."""
        self._last = (done, total, trouble)
        if self._monotonic() - self._said_s >= PLAIN_EVERY_S:
            self._say()

    def _say(self) -> None:
        done, total, trouble = self._last
        self._said_s = self._monotonic()
        rate = done / max(0.001, self._said_s - self._start_s)
        left = tqdm.format_interval((total - done) / rate) if rate else "unknown"
        why = f"; {trouble}" if trouble else ""
        self._write(f"{done} of {total} readings accepted by the service, {rate:.0f}/s, time left {left}{why}")

    def close(self) -> None:
        """Say the last figures."""
        self._say()


def count_lines(path: Path) -> int:
    """Lines of a file, the last counted even without an end."""
    count, last = 0, b"\n"
    with path.open("rb") as file:
        while block := file.read(1 << 20):
            count += block.count(b"\n")
            last = block[-1:]
    return count + (last != b"\n")
