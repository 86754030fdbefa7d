"""A stretch of network between two programs that can be cut, held up and mended.

Must not do: look at what passes.
"""

from __future__ import annotations

import contextlib
import socket
import threading
from types import TracebackType


class TcpProxy:
    """Listens on ``port`` and passes everything on to ``target``. Use as a context."""

    def __init__(self, target: int) -> None:
        self._target = target
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._server.getsockname()[1])
        self._lock = threading.Lock()
        self._pairs: list[tuple[socket.socket, socket.socket]] = []
        self._passing = threading.Event()
        self._passing.set()
        self._cut = self._closed = False
        self._threads: list[threading.Thread] = []

    def _listen(self) -> None:
        while True:
            try:
                near, _ = self._server.accept()
            except OSError:
                return
            with self._lock:
                if self._closed or self._cut:
                    near.close()
                    continue
            try:
                far = socket.create_connection(("127.0.0.1", self._target), 5)
            except OSError:
                near.close()
                continue
            far.settimeout(None)
            with self._lock:
                self._pairs.append((near, far))
            for one, other in ((near, far), (far, near)):
                self._begin(lambda one=one, other=other: self._pass(one, other))

    def _begin(self, work: object) -> None:
        thread = threading.Thread(target=work, daemon=True)  # type: ignore[arg-type]
        self._threads.append(thread)
        thread.start()

    def _pass(self, one: socket.socket, other: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while chunk := one.recv(65536):
                self._passing.wait()
                other.sendall(chunk)
        for end in (one, other):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def cut(self) -> None:
        """Break every connection and let no new one through."""
        with self._lock:
            self._cut = True
            pairs, self._pairs = self._pairs, []
        for pair in pairs:
            for end in pair:
                with contextlib.suppress(OSError):
                    end.shutdown(socket.SHUT_RDWR)
                end.close()

    def hold(self) -> None:
        """Pass nothing on, and let nobody notice."""
        self._passing.clear()

    def mend(self) -> None:
        """Let everything through again."""
        self._cut = False
        self._passing.set()

    def __enter__(self) -> TcpProxy:
        self._begin(self._listen)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._closed = True
        self._passing.set()
        with contextlib.suppress(OSError):
            self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
        self.cut()
        for thread in self._threads:
            thread.join(5)
