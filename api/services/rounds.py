"""A piece of work done again and again in a thread of its own, with a beat that shows whether it still goes well.

Must not do: end because one round failed, or beat while rounds fail.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable

from api.domain.errors import Transient

log = logging.getLogger("intermolt.rounds")


class Rounds:
    """Rounds of one piece of work, ``every_s`` apart. ``beat_ms`` is when the last good round ended."""

    def __init__(self, name: str, work: Callable[[], object], every_s: float, now_ms: Callable[[], int]) -> None:
        self._name, self._work, self.every_s, self._now_ms = name, work, every_s, now_ms
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self.beat_ms = now_ms()

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """Finish the round at work and end."""
        self._stop.set()
        self._thread.join(timeout=5)

    def _run(self) -> None:
        while not self._stop.wait(self.every_s):
            try:
                self._work()
                self.beat_ms = self._now_ms()
            except Transient as error:
                log.warning("%s: this round failed, tried again: %s", self._name, error)
            except Exception:  # a thread that ended would look like a room that is well
                log.exception("%s: this round failed, tried again", self._name)
