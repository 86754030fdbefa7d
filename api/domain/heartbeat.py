"""Calling an outside address every few minutes: which address, when, and what a person is told about it.

Must not do: call it (the collector and the service each do), or say the address, which may hold a secret.
"""

from __future__ import annotations

from urllib.parse import SplitResult, quote, urlsplit, urlunsplit

from api.domain.errors import InputError
from api.domain.tank import Heartbeat

SOONER_S = 60.0
"""After a call that failed the next one comes so soon. [s]"""


def address(url: str, who: str) -> str:
    """The address with ``from=who`` after whatever query it has, the rest of it as it was written.

    Raises InputError when it is no web address.
    """
    parts = _split(url)
    query = f"{parts.query}&" if parts.query else ""
    return urlunsplit(parts._replace(query=f"{query}from={quote(who, safe='')}", fragment=""))


class Calls:
    """When the next call is due, and one line for the log when it stops or begins to go well.

    ``now_s`` is any clock that only goes forward. The texts are empty when there is nothing new to say.
    Raises InputError for settings without a web address.
    """

    def __init__(self, settings: Heartbeat, who: str) -> None:
        self.address = address(settings.url, who)
        self.host = _split(settings.url).hostname
        self._every_s, self._due_s = settings.every_s, 0.0
        self._failed = 0
        self._withheld = ""

    def due(self, now_s: float) -> bool:
        """Whether it is time for a call."""
        return now_s >= self._due_s

    def withheld(self, why: str) -> str:
        """It is time, but something is wrong here, so that nobody outside may be told that all is well."""
        new, self._withheld = not self._withheld, why
        return f"{self.host} is not called, so that its watcher notices: {why}" if new else ""

    def answered(self, now_s: float) -> str:
        """The address was called and answered."""
        self._due_s = now_s + self._every_s
        failed, self._failed = self._failed, 0
        withheld, self._withheld = self._withheld, ""
        if failed:
            return f"{self.host} answers again, after {failed} call{'s' if failed > 1 else ''} in vain"
        return f"{self.host} is called again" if withheld else ""

    def failed(self, now_s: float, why: str) -> str:
        """The address was called in vain."""
        again_s = min(self._every_s, SOONER_S)
        self._due_s = now_s + again_s
        self._failed += 1
        if self._failed > 1:
            return ""
        return f"{self.host} cannot be called: {why}; tried again every {again_s:g} s"


def _split(url: str) -> SplitResult:
    try:
        parts = urlsplit(url)
        if parts.scheme in ("http", "https") and parts.hostname and parts.port != 0:
            return parts
    except ValueError:
        pass  # an address whose host or port cannot be one
    raise InputError('[room.heartbeat] url is no web address; write it like "https://watch.example/x"')
