"""Tells the service how the collector is: every 15 s, and soon after a port or the disk changed.

Must not do: disturb reading or sending; a report that does not arrive is only counted.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from collector.console import Console
from collector.errors import ServiceTrouble, SpoolTrouble, Stopped
from collector.pulse import Pulse
from collector.service import Upstream
from collector.spool import Spool
from collector.status import StatusBoard

EVERY_S = 15.0
PAUSE_S = 1.0
REPORT_S = 70.0
"""The longest that a service may take to answer a report, asked twice. [s]"""


class Reporter:
    """One thread with its own connection, so that a slow pack does not make the collector look dead."""

    def __init__(
        self,
        board: StatusBoard,
        spool: Spool,
        service: Upstream,
        console: Console,
        stop: threading.Event,
        name: str,
        answered: Callable[[object], None] = lambda body: None,
        undated: Callable[[], str] = lambda: "",
        note: Callable[[dict[str, Any]], None] = lambda document: None,
    ) -> None:
        self._board, self._spool, self._service, self._console = board, spool, service, console
        self._stop, self._name, self._answered, self._undated = stop, name, answered, undated
        self._note = note
        self._trouble: str | None = None
        self._full = False
        self.undelivered = 0
        self.pulse = Pulse()
        self._thread = threading.Thread(target=self._run, name="reporter", daemon=True)

    def start(self) -> None:
        """Begin reporting."""
        self._thread.start()

    def join(self, timeout_s: float) -> bool:
        """Wait for the end after ``stop`` was set; whether it came."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def late_s(self) -> float:
        """By how much the next turn is overdue. [s]"""
        return self.pulse.late_s(self._thread)

    def _run(self) -> None:
        next_s = 0.0
        while not self._stop.is_set():
            self.pulse.beat(REPORT_S)
            self._board.tick()
            self._console.tick()
            if self._disk_turned() or time.monotonic() >= next_s or self._board.changed.is_set():
                next_s = time.monotonic() + EVERY_S
                self._board.changed.clear()
                self.report()
            self._stop.wait(PAUSE_S)
        self.pulse.end()

    def _disk_turned(self) -> bool:
        """Whether the disk has begun or ceased to take readings since the last look: that is told at once."""
        try:
            full = bool(self._spool.disk_trouble())
        except (SpoolTrouble, Stopped):
            return False
        turned, self._full = full is not self._full, full
        return turned

    def report(self) -> None:
        """Send one report; never raises."""
        try:
            state = self._spool.state()
            if state.trouble != self._trouble:
                self._console.say("spool", state.trouble or "the disk takes readings again")
            self._trouble = state.trouble
            said = "; ".join(words for words in (state.trouble, self._undated()) if words)
            state = replace(state, trouble=said or None)
            document = self._board.document(state)
            self._note(document)
            self._answered(self._service.put_status(self._name, document))
        except (ServiceTrouble, SpoolTrouble, Stopped):
            self.undelivered += 1
        except Exception as error:  # noqa: BLE001 a fault in reporting must not end it, nor anything else
            self.undelivered += 1
            self._console.say("status report", f"{type(error).__name__}: {error}")
