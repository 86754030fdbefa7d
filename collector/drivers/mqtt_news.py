"""Which messages that carry no time of their own may be dated by their arrival, and which were kept before.

A broker hands on what it held while the collector was away, and says nothing of how long. Must not do: date old news
as if it were new, or have a message twice of which the broker did not hear that it is kept.
"""

from __future__ import annotations

import json
from collections import deque
from zlib import crc32

from collector.drivers.mqtt_link import Message

QUIET_S = 0.5
"""When nothing came for so long after connecting, all that the broker held has come."""
WINDOW_S = 10.0
FEW = 150
"""So few messages in a window come from probes that speak; what a broker held comes much faster."""
REMEMBERED = 64
"""More than a broker has under way at a time."""


class News:
    """One probe's memory of its messages; ``mark`` goes to the disk with the readings."""

    def __init__(self, mark: str | None, late_ms: int) -> None:
        told = json.loads(mark) if mark else {}
        self._live_ms: int | None = told.get("live_ms")
        self._kept: deque[int] = deque(told.get("kept", ()), REMEMBERED)
        self._late_ms = late_ms
        self._held = False
        self._bounded = True
        self._window_s, self._count = 0.0, 0

    def connected(self, now_ms: int, now_s: float, session: bool) -> None:
        """The connection stands; ``session``: the broker knew us, so it may have held messages."""
        self._window_s, self._count = now_s, 0
        away_ms = None if self._live_ms is None else now_ms - self._live_ms
        self._held = session
        self._bounded = away_ms is not None and 0 <= away_ms <= self._late_ms

    @property
    def in_doubt(self) -> bool:
        """Whether what comes now may be from any time."""
        return self._held and not self._bounded

    def quiet(self, for_s: float) -> None:
        """Nothing came for so long while we listened."""
        if for_s >= QUIET_S:
            self._held = False

    def came(self, count: int, now_s: float) -> None:
        """So many messages came by now."""
        self._count += count
        if now_s - self._window_s >= WINDOW_S:
            self._held = self._held and self._count >= FEW
            self._window_s, self._count = now_s, 0

    def old(self, message: Message) -> str:
        """Why a message's arrival says nothing of when it was sent; empty when it does."""
        if message.retain:
            return "was kept by the broker (retained), who knows since when, and carries no time of its own"
        if self.in_doubt:
            return "waited at the broker while nobody listened, who knows how long, and carries no time of its own"
        return ""

    def was_kept(self, message: Message) -> bool:
        """Whether it comes again although it is on the disk."""
        return message.dup and _print(message) in self._kept

    def keep(self, message: Message) -> None:
        """It is about to go to the disk."""
        if message.qos:
            self._kept.append(_print(message))

    def mark(self, now_ms: int) -> str:
        """What must be known after a crash."""
        self._live_ms = now_ms
        return json.dumps({"live_ms": now_ms, "kept": list(self._kept)}, separators=(",", ":"))


def _print(message: Message) -> int:
    return crc32(message.payload, crc32(f"{message.mid} {message.topic}".encode("utf-8", "replace")))
