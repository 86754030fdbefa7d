"""A serial port whose probes speak by themselves: each line goes to the probe it names, or to all that share the port.

Must not do: read a line for anybody, or hold more than a moment's lines for a probe that is not there yet.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from collector.codecs.lines import LineSplitter
from collector.drivers.serial_port import SerialPort

CUT_IN_S = 0.05
"""Bytes sooner than this after opening a real port may be the tail of a line whose head was sent before."""
KEEP_S = 35.0
"""How long a line waits for a probe that opens the port later than another: longer than a worker waits to retry."""
KEEP_BYTES = 1 << 16
INBOX_BYTES = 1 << 18
EACH_BYTES = 400
"""What Python adds to a line that is held."""


@dataclass(frozen=True, slots=True)
class Heard:
    """One line and when it came; ``problem`` when it is none that could be read, ``instead`` what else it may be."""

    line: bytes
    at_ms: int
    problem: str = ""
    instead: bytes | None = None


@dataclass
class _Recent:
    heard: Heard
    at_s: float
    takers: set[str]


@dataclass(eq=False)
class Listener:
    """One probe's ear. ``wants`` says whether a line is this probe's."""

    probe: str
    wants: Callable[[bytes], bool]
    inbox: deque[Heard] = field(default_factory=deque)
    held_bytes: int = 0
    lost: int = 0


class StreamPort(SerialPort):
    """Opened once for all of its probes; ``hear`` is called by whoever has the turn, the rest from any thread."""

    def __init__(
        self, probe: str, options: Mapping[str, Any], folder: Path, monotonic: Callable[[], float], keep_s: float
    ) -> None:
        super().__init__(probe, options, folder)
        self._monotonic = monotonic
        self._splitter = LineSplitter(options["line_end"].encode("latin-1"), options["max_line"])
        self._keep_s, self._unfinished_s = keep_s, options["timeout_s"]
        self._byte_s = 0.0
        self._lock = threading.Lock()
        self._listeners: list[Listener] = []
        self._recent: deque[_Recent] = deque()
        self._recent_bytes = 0
        self._opened_s: float | None = None

    def open(self) -> None:
        """Open and set up the port.

        Raises PortTrouble.
        """
        super().open()
        self._opened_s = self._monotonic()

    def listen(self, listener: Listener) -> None:
        """One more probe, which also gets its lines of the last moments that it has not had."""
        with self._lock:
            self._listeners.append(listener)
            for recent in self._recent:
                if listener.probe not in recent.takers and listener.wants(recent.heard.line):
                    recent.takers.add(listener.probe)
                    _put(listener, recent.heard)

    def forget(self, listener: Listener) -> None:
        """One probe less."""
        with self._lock:
            if listener in self._listeners:
                self._listeners.remove(listener)

    def take(self, listener: Listener) -> list[Heard]:
        """What has come for a probe since the last call."""
        with self._lock:
            found = list(listener.inbox)
            if listener.lost:
                found.insert(0, Heard(b"", 0, f"{listener.lost} lines fell out because they were not taken in time"))
            listener.inbox.clear()
            listener.held_bytes = listener.lost = 0
            return found

    def hear(self, data: bytes, now_ms: int) -> None:
        """Bytes that came; none only let time pass."""
        now_s = self._monotonic()
        with self._lock:
            self._unfinished(now_ms, now_s)
            if data and self._opened_s is not None:
                if not self.pseudo and now_s - self._opened_s < CUT_IN_S:
                    self._splitter.skip_first()
                self._opened_s = None
            before = (self._splitter.overlong, self._splitter.cut)
            self._byte_s = now_s if data else self._byte_s
            for line in self._splitter.feed(data):
                self._route(Heard(line, now_ms), now_s)
            self._faults(self._splitter.overlong - before[0], self._splitter.cut - before[1], now_ms)
            self._expire(now_s)

    def _unfinished(self, now_ms: int, now_s: float) -> None:
        """The head of a line whose tail was lost must not be joined with the next line, seconds later."""
        if self._splitter.held_bytes and now_s - self._byte_s >= self._unfinished_s:
            what = f"a line that was not finished within {self._unfinished_s:g} s"
            self._complain(self._splitter.drop(), now_ms, what)

    def _route(self, heard: Heard, now_s: float) -> None:
        takers = [listener for listener in self._listeners if listener.wants(heard.line)]
        for listener in takers:
            _put(listener, heard)
        self._recent.append(_Recent(heard, now_s, {listener.probe for listener in takers}))
        self._recent_bytes += len(heard.line) + EACH_BYTES

    def _faults(self, overlong: int, cut: int, now_ms: int) -> None:
        for _ in range(cut):
            self._complain(b"", now_ms, "the first line after opening had no beginning")
        for _ in range(overlong):
            self._complain(b"", now_ms, f"a line without an end after {self._splitter.max_bytes} bytes")

    def _expire(self, now_s: float) -> None:
        while self._recent and (now_s - self._recent[0].at_s >= self._keep_s or self._recent_bytes > KEEP_BYTES):
            old = self._recent.popleft()
            self._recent_bytes -= len(old.heard.line) + EACH_BYTES
            if not old.takers:
                self._complain(old.heard.line, old.heard.at_ms, "names no probe of this port")

    def _complain(self, line: bytes, at_ms: int, problem: str) -> None:
        if self._listeners:
            _put(self._listeners[0], Heard(line, at_ms, problem))


def _put(listener: Listener, heard: Heard) -> None:
    listener.inbox.append(heard)
    listener.held_bytes += len(heard.line) + EACH_BYTES
    while listener.held_bytes > INBOX_BYTES:
        listener.held_bytes -= len(listener.inbox.popleft().line) + EACH_BYTES
        listener.lost += 1
