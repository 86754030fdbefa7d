"""A stretch of network that can be cut, held up, made deaf for answers, or left with dead connections nobody hears of.

Must not do: look at what passes.
"""

from __future__ import annotations

import contextlib
import socket
import threading
from dataclasses import dataclass
from types import TracebackType


@dataclass(eq=False)
class _Pair:
    """One connection. ``dead``: what is said on it goes nowhere, and neither end is told."""

    near: socket.socket
    far: socket.socket
    dead: bool = False

    def close(self) -> None:
        for end in (self.near, self.far):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()


class Network:
    """Listens on ``port`` and passes everything on to ``target``. Use as a context."""

    def __init__(self, target: int) -> None:
        self._target = target
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._server.getsockname()[1])
        self._lock = threading.Lock()
        self._pairs: set[_Pair] = set()
        self._passing = threading.Event()
        self._passing.set()
        self._cut = self._deaf = False

    def _listen(self) -> None:
        while True:
            try:
                near, _ = self._server.accept()
            except OSError:
                return
            try:
                far = socket.create_connection(("127.0.0.1", self._target), 5)
            except OSError:
                near.close()
                continue
            far.settimeout(None)
            pair = _Pair(near, far)
            with self._lock:
                if self._cut:
                    pair.close()
                    continue
                self._pairs.add(pair)
            self._begin(lambda pair=pair: self._pass(pair, pair.near, pair.far, False))
            self._begin(lambda pair=pair: self._pass(pair, pair.far, pair.near, True))

    def _begin(self, work: object) -> None:
        threading.Thread(target=work, daemon=True).start()  # type: ignore[arg-type]

    def _pass(self, pair: _Pair, one: socket.socket, other: socket.socket, answers: bool) -> None:
        with contextlib.suppress(OSError):
            while chunk := one.recv(65536):
                self._passing.wait()
                pair.dead = pair.dead or (answers and self._deaf)
                if not pair.dead:
                    other.sendall(chunk)
        if pair.dead:
            return  # the other end never hears that this one hung up
        with self._lock:
            self._pairs.discard(pair)
        pair.close()

    def _end_all(self) -> None:
        with self._lock:
            pairs, self._pairs = self._pairs, set()
        for pair in pairs:
            pair.close()

    def cut(self) -> None:
        """Break every connection and let no new one through."""
        self._cut = True
        self._end_all()

    def stall(self) -> None:
        """Pass nothing on; everything comes later."""
        self._passing.clear()

    def deafen(self) -> None:
        """Requests pass, answers are lost; what was answered so goes on to be sent again."""
        self._deaf = True

    def bury(self) -> None:
        """The connections there are lead nowhere from now on and are never closed; new ones are good."""
        with self._lock:
            for pair in self._pairs:
                pair.dead = True

    def mend(self, *, reset: bool = True) -> None:
        """Everything passes again; with ``reset`` dead connections are broken, so that their ends hear of it."""
        self._cut = self._deaf = False
        self._passing.set()
        if reset:
            with self._lock:
                dead = {pair for pair in self._pairs if pair.dead}
                self._pairs -= dead
            for pair in dead:
                pair.close()

    def __enter__(self) -> Network:
        self._begin(self._listen)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._cut = True
        self._passing.set()
        with contextlib.suppress(OSError):
            self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
        self._end_all()
