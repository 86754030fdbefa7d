"""The collector's heartbeat: an outside address called every few minutes while readings reach the disk.

Must not do: call while no probe is read or the disk takes nothing, or disturb reading and sending.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

import httpx

from api.domain.errors import IntermoltError
from api.domain.heartbeat import Calls
from api.domain.tank import Heartbeat
from collector.spool import Spool
from collector.status import PortMood, StatusBoard

LOOK_S = 5.0
TIMEOUT = httpx.Timeout(10.0)
WHO = "collector"


class Heartbeats:
    """One thread that calls when it is time. ``ailing`` says what is wrong, and nothing when all is well."""

    def __init__(
        self,
        settings: Heartbeat,
        name: str,
        ailing: Callable[[], str],
        say: Callable[[str], None],
        stop: threading.Event,
        look_s: float = LOOK_S,
    ) -> None:
        self._calls = Calls(settings, WHO if name == "main" else f"{WHO}-{name}")
        self._ailing, self._say, self._stop, self._look_s = ailing, say, stop, look_s
        self._thread = threading.Thread(target=self._run, name="heartbeat", daemon=True)

    def start(self) -> None:
        """Begin calling."""
        self._thread.start()

    def join(self, timeout_s: float) -> bool:
        """Wait for the end after ``stop`` was set; whether it came."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        while not self._stop.wait(self._look_s):
            if self._calls.due(time.monotonic()):
                said = self._look()
                if said:
                    self._say(said)

    def _look(self) -> str:
        try:
            why = self._ailing()
        except IntermoltError as error:
            why = str(error)
        if why:
            return self._calls.withheld(why)
        fault = _fault_of_call(self._calls.address)
        now_s = time.monotonic()
        return self._calls.failed(now_s, fault) if fault else self._calls.answered(now_s)


def ailment(board: StatusBoard, spool: Spool) -> str:
    """What keeps readings from the disk: its own trouble, or no probe that gives any; empty when they reach it."""
    trouble = spool.disk_trouble()
    if trouble:
        return trouble
    moods = board.moods()
    if moods and PortMood.READING not in moods.values():
        return f"none of {len(moods)} probes gives readings"
    return ""


def _fault_of_call(address: str) -> str:
    """GET an address: nothing when it answered well, else why not, without the address itself."""
    try:
        with (
            httpx.Client(timeout=TIMEOUT, follow_redirects=True, max_redirects=5) as client,
            client.stream("GET", address) as response,
        ):
            return "" if response.is_success else f"it answered {response.status_code}"
    except Exception as error:  # noqa: BLE001 whatever becomes of a call must not end the calling
        return (str(error) or type(error).__name__).replace(address, "the address")
