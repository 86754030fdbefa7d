"""Lines for the person (or the journal) that watches the process: one when something changes, never a flood.

Must not do: drop the last word on a matter; what is held back comes with a count when its minute is over.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass

EVERY_S = 60.0
BURST = 3


def print_line(text: str) -> None:
    """Write one line at once; a closed terminal is no reason to stop reading probes."""
    try:
        print(text, flush=True)
    except (OSError, ValueError):
        sys.stdout = None  # further prints do nothing, as Python documents


@dataclass
class _Matter:
    said_s: float
    said: str
    left: int = BURST - 1
    pending: str = ""
    changes: int = 0


class Console:
    """The first few changes of each matter at once, then at most one line a minute about it."""

    def __init__(self, monotonic: Callable[[], float], write: Callable[[str], None] = print_line) -> None:
        self._monotonic, self._write = monotonic, write
        self._matters: dict[str, _Matter] = {}
        self._lock = threading.Lock()

    def say(self, matter: str, text: str) -> None:
        """Say that something changed, now or when the matter's minute is over."""
        now_s = self._monotonic()
        with self._lock:
            known = self._matters.get(matter)
            calm = known is not None and now_s - known.said_s >= EVERY_S and not known.changes
            if known is None or calm:
                self._matters[matter] = _Matter(now_s, text)
                self._write(f"{matter}: {text}")
            elif known.left:
                known.left -= 1
                known.said_s, known.said = now_s, text
                self._write(f"{matter}: {text}")
            else:
                known.pending = text
                known.changes += 1

    def tick(self) -> None:
        """Say what was held back long enough; call it every second or so."""
        now_s = self._monotonic()
        with self._lock:
            for matter, known in self._matters.items():
                if not known.changes or now_s - known.said_s < EVERY_S:
                    continue
                if known.changes > 1 or known.pending != known.said:
                    count = f" ({known.changes} changes in the last minute)" if known.changes > 1 else ""
                    self._write(f"{matter}: {known.pending}{count}")
                    known.said_s, known.said = now_s, known.pending
                known.changes = 0
