"""A stand-in for the service that counts numbered readings in bounded memory, for trials of millions of them.

Each probe's ``level`` is a whole number that goes up by one; other quantities are counted. Must not do: keep packs.
"""

from __future__ import annotations

import json
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import TracebackType
from typing import Any


class _Exchange(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    disable_nagle_algorithm = True
    server: _Server

    def log_message(self, format: str, *args: object) -> None:
        """Nothing."""

    def _take(self) -> None:
        body = self.rfile.read(int(self.headers.get("Content-Length", "0")))
        counting = self.server.counting
        if counting.away:
            status, answer = 503, {"title": "Not kept", "detail": "told to be away"}
        elif self.command == "PUT":
            counting.reports += 1
            status, answer = 200, {}
        else:
            status, answer = 200, counting.take(json.loads(body))
        payload = json.dumps(answer).encode()
        self.send_response(status)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(payload)))
        self.end_headers()
        self.wfile.write(payload)

    do_POST = do_PUT = _take


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    counting: CountingService


class CountingService:
    """Use as a context. ``away``: answers 503."""

    def __init__(self) -> None:
        self.away = False
        self.reports = self.readings = self.doubled = 0
        self.seen: dict[str, bytearray] = {}
        self._lock = threading.Lock()
        self._server = _Server(("127.0.0.1", 0), _Exchange)
        self._server.counting = self
        self._thread = threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)

    @property
    def url(self) -> str:
        """Where it listens."""
        return f"http://127.0.0.1:{self._server.server_address[1]}"

    def take(self, records: list[dict[str, Any]]) -> dict[str, Any]:
        """Count a pack and answer as the service does."""
        with self._lock:
            self.readings += len(records)
            for record in records:
                probe, _, quantity = record["n"].partition("/")
                if quantity == "level":
                    self._see(probe, round(record["v"]))
        return {"accepted": len(records), "duplicate": 0, "refused": []}

    def _see(self, probe: str, number: int) -> None:
        seen = self.seen.setdefault(probe, bytearray())
        if len(seen) <= number:
            seen.extend(bytes(number + 1000 - len(seen)))
        self.doubled += seen[number]
        seen[number] = 1

    def kept(self, probe: str) -> int:
        """How many of a probe's numbers came."""
        with self._lock:
            return sum(self.seen.get(probe, b""))

    def __enter__(self) -> CountingService:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
