"""Looks every second whether the computer's clock is believed now, so that held readings get their dates and go on.

Must not do: decide it (``clock.py``), or move a reading itself (``held.py``).
"""

from __future__ import annotations

import threading
from collections.abc import Callable

from collector.errors import SpoolTrouble, Stopped
from collector.held import Held

LOOK_S = 1.0


class Dating:
    """One thread that looks; ``say`` is told when the clock is doubted and when it is believed again."""

    def __init__(self, held: Held, say: Callable[[str], None], stop: threading.Event) -> None:
        self._held, self._say, self._stop, self._said = held, say, stop, ""
        self._thread = threading.Thread(target=self._run, name="dating", daemon=True)

    def start(self) -> None:
        """Begin looking."""
        self._thread.start()

    def join(self, timeout_s: float) -> bool:
        """Wait for the end after ``stop`` was set; whether it came."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def look(self) -> None:
        """Date what can be dated; a disk that takes nothing now is asked again in a second."""
        try:
            while self._held.settle():
                if self._stop.is_set():
                    return
        except (SpoolTrouble, Stopped):
            return
        doubt = self._held.clock.doubt()
        if bool(doubt) != bool(self._said):
            self._say(f"{doubt}: readings wait for their time" if doubt else "the computer's clock is believed again")
        self._said = doubt

    def _run(self) -> None:
        while not self._stop.wait(LOOK_S):
            try:
                self.look()
            except Exception as error:  # noqa: BLE001 held readings must get their next chance whatever went wrong now
                self._say(f"fault while readings were dated: {error!r}")
