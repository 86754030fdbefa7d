"""An outside watcher for heartbeat tests: a real HTTP server that remembers who called it, and may answer badly.

Must not do: judge what it is called with.
"""

from __future__ import annotations

import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import TracebackType
from urllib.parse import parse_qs, urlsplit


class _Call(BaseHTTPRequestHandler):
    server: _Server

    def log_message(self, format: str, *args: object) -> None:
        """Tests read what was called, not a log."""

    def do_GET(self) -> None:
        """Remember and answer."""
        self.server.watcher.calls.append(self.path)
        self.send_response(self.server.watcher.status)
        self.send_header("Content-Length", "0")
        self.end_headers()


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    watcher: Watcher


class Watcher:
    """Use as a context; ``calls`` are the paths with queries in the order they came."""

    def __init__(self) -> None:
        self.calls: list[str] = []
        self.status = 200
        self._server = _Server(("127.0.0.1", 0), _Call)
        self._server.watcher = self
        self._thread = threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)

    @property
    def url(self) -> str:
        """Where it is called."""
        return f"http://127.0.0.1:{self._server.server_address[1]}/creek-room"

    def callers(self) -> list[str]:
        """What each call said under ``from``."""
        return [parse_qs(urlsplit(path).query)["from"][-1] for path in self.calls]

    def __enter__(self) -> Watcher:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
