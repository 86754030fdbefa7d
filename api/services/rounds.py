"""A piece of work done again and again in a thread of its own, with a beat that shows whether it still goes well.

Must not do: end because one round failed, or beat while rounds fail.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable

from api.domain.errors import Transient

log = logging.getLogger("intermolt.rounds")


class Rounds:
    """Rounds of one piece of work, ``every_s`` apart. ``beat_ms`` is when the last good round ended.

    A round that fails is tried again; only one that never comes to its end makes the rounds late.
    """

    def __init__(self, name: str, work: Callable[[], object], every_s: float, now_ms: Callable[[], int]) -> None:
        self._name, self._work, self.every_s, self._now_ms = name, work, every_s, now_ms
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self.beat_ms = now_ms()
        self._due_s = time.monotonic() + every_s
        self._failed = 0

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def ask_to_end(self) -> None:
        """Begin no further round."""
        self._stop.set()

    def stop(self, timeout_s: float = 5.0) -> None:
        """Finish the round at work and end; a round that takes longer is left behind."""
        self._stop.set()
        self._thread.join(timeout_s)

    @property
    def ending(self) -> bool:
        """Whether no further round is to begin; a long one should end soon."""
        return self._stop.is_set()

    def goes_on(self) -> None:
        """Called by a long round: it is not over, and goes well."""
        self.beat_ms = self._now_ms()
        self._due_s = time.monotonic() + self.every_s

    def late_s(self) -> float:
        """By how much the end of a round is overdue; infinite when the thread has ended by itself. [s]"""
        if self._thread.ident is None or self._stop.is_set():
            return 0.0
        return max(0.0, time.monotonic() - self._due_s) if self._thread.is_alive() else float("inf")

    def _run(self) -> None:
        while not self._stop.wait(self.every_s):
            try:
                self._work()
                self.beat_ms = self._now_ms()
                self._succeeded()
            except Transient as error:
                if self._fails():
                    log.warning("%s: round failed (%d in a row), tried again: %s", self._name, self._failed, error)
            except Exception:  # a thread that ended would look like a room that is well
                if self._fails():
                    log.exception("%s: round failed (%d in a row), tried again", self._name, self._failed)
            self._due_s = time.monotonic() + self.every_s

    def _fails(self) -> bool:
        """Count; true for the 1st, 2nd, 4th, 8th ... in a row, which are told: a flood must not fill the log."""
        self._failed += 1
        return self._failed & (self._failed - 1) == 0 and not self._stop.is_set()

    def _succeeded(self) -> None:
        if self._failed:
            log.warning("%s: goes well again after %d failed rounds", self._name, self._failed)
        self._failed = 0
