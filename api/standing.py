"""The service's word to the system's service manager: ready, alive, stopping (sd_notify(3)).

Must not do: say alive while a part hangs, or matter where nobody listens.
"""

from __future__ import annotations

import logging
import os
import socket
import threading
from collections.abc import Callable, Mapping

from api.domain.standing import hanging, watchdog_period_s

LOOKS_A_PERIOD = 4
log = logging.getLogger("intermolt.standing")


def tell(words: str) -> str:
    """Send a datagram to the service manager, if one started this process; the fault, if it cannot be sent."""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if not address:
        return ""
    if address.startswith("@"):
        address = "\0" + address[1:]  # a name in the abstract namespace, see unix(7)
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line:
            line.settimeout(1.0)
            line.sendto(words.encode(), address)
    except OSError as error:
        return f"the service manager at {address} cannot be told how this process stands: {error}"
    return ""


class Standing:
    """Tells how the process stands. ``late_s`` gives by how much each part is overdue. [s]"""

    def __init__(self, late_s: Callable[[], Mapping[str, float]]) -> None:
        self._late_s, self._said = late_s, ""
        self._period_s = watchdog_period_s(os.environ, os.getpid())
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="standing", daemon=True)

    def ready(self) -> None:
        """The service answers; from here on it is said again and again that it is alive."""
        fault = tell("READY=1\nSTATUS=every part goes round")
        if fault:
            log.warning("%s", fault)
        if self._period_s is not None:
            self._thread.start()

    def stopping(self) -> None:
        """The end begins."""
        self._stop.set()
        tell("STOPPING=1")

    def _run(self) -> None:
        period_s = self._period_s or 1.0
        while not self._stop.wait(period_s / LOOKS_A_PERIOD):
            self.look(period_s)

    def look(self, period_s: float) -> None:
        """Say that the process is alive, or, once, why it is not said any more."""
        stuck = "; ".join(hanging(self._late_s(), period_s))
        if not stuck:
            tell("WATCHDOG=1\nSTATUS=every part goes round")
        elif not self._said:
            log.error("%s: the service manager is told nothing more, so that it starts this process anew", stuck)
            tell(f"STATUS={stuck}")
        self._said = stuck
