"""The service's heartbeat: an outside address called every few minutes while the service does its work.

Must not do: call while a part of the service is not well, or raise.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable

import httpx

from api.domain.heartbeat import Calls
from api.domain.tank import Heartbeat

LOOK_EVERY_S = 5.0
TIMEOUT = httpx.Timeout(10.0)
WHO = "service"
log = logging.getLogger("intermolt.heartbeat")


class Heartbeats:
    """Calls when it is time. ``ailing`` says what keeps the service from its work, and nothing when it is well."""

    def __init__(
        self, settings: Heartbeat, ailing: Callable[[], str], monotonic: Callable[[], float] = time.monotonic
    ) -> None:
        self._calls, self._ailing, self._monotonic = Calls(settings, WHO), ailing, monotonic

    def look(self) -> None:
        """Call the address if a call is due."""
        if not self._calls.due(self._monotonic()):
            return
        why = self._ailing()
        if why:
            said = self._calls.withheld(why)
        else:
            fault = fault_of_call(self._calls.address)
            now_s = self._monotonic()
            said = self._calls.failed(now_s, fault) if fault else self._calls.answered(now_s)
        if said:
            log.warning("%s", said)


def fault_of_call(address: str) -> str:
    """GET an address: nothing when it answered well, else why not, without the address itself."""
    try:
        with (
            httpx.Client(timeout=TIMEOUT, follow_redirects=True, max_redirects=5) as client,
            client.stream("GET", address) as response,
        ):
            return "" if response.is_success else f"it answered {response.status_code}"
    except (httpx.HTTPError, httpx.InvalidURL, httpx.StreamError, OSError) as error:
        return (str(error) or type(error).__name__).replace(address, "the address")
