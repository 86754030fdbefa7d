"""A recording stand-in for the service: a real HTTP server on a loopback port that can be told to misbehave.

Must not do: judge readings; it only remembers them, as a set over (probe, quantity, time).
"""

from __future__ import annotations

import json
import threading
from collections import deque
from collections.abc import Callable
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import TracebackType
from typing import Any

RIGHT_TOKEN = "right-token"
Record = dict[str, Any]
Misbehaviour = Callable[["Exchange"], bool]
"""Answers the exchange itself and says True, or leaves it to the receiver and says False."""


class Exchange(BaseHTTPRequestHandler):
    """One request."""

    protocol_version = "HTTP/1.1"
    # small answers go out at once: without it each request waits for the peer's delayed acknowledgement
    disable_nagle_algorithm = True
    server: Server
    body: bytes

    def log_message(self, format: str, *args: Any) -> None:
        """Tests read what was received, not a log."""

    def answer(self, status: int, document: Any, media_type: str = "application/json") -> None:
        """Send a status with a JSON body."""
        self.answer_bytes(status, json.dumps(document).encode(), media_type)

    def answer_bytes(self, status: int, body: bytes, media_type: str = "text/html") -> None:
        """Send a status with any body."""
        self.send_response(status)
        self.send_header("Content-Type", media_type)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def _take(self) -> None:
        self.body = self.rfile.read(int(self.headers.get("Content-Length", "0")))
        receiver = self.server.receiver
        with receiver.lock:
            receiver.requests.append((self.command, self.path))
            misbehave = receiver.script.popleft() if receiver.script else receiver.always
        try:
            if misbehave is not None and misbehave(self):
                return
            receiver.take(self)
        except (BrokenPipeError, ConnectionResetError):
            self.close_connection = True

    do_POST = do_PUT = _take


class Server(ThreadingHTTPServer):
    """The server, which knows whom it serves."""

    daemon_threads = True
    receiver: Receiver

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A collector that was killed leaves broken connections behind; that is what is being tried."""


class Receiver:
    """Takes packs and status reports; a context manager. ``script`` misbehaves for the next requests, in order."""

    def __init__(self, token: str = RIGHT_TOKEN, port: int = 0) -> None:
        self.token = token
        self.lock = threading.Lock()
        self.requests: list[tuple[str, str]] = []
        self.records: dict[tuple[str, float], Record] = {}
        self.order: list[tuple[str, float]] = []
        self.duplicates = 0
        self.packs: list[int] = []
        self.statuses: list[tuple[str, Record]] = []
        self.script: deque[Misbehaviour | None] = deque()
        self.always: Misbehaviour | None = None
        self.refuse: Callable[[Record], str] = lambda record: ""
        self._server = Server(("127.0.0.1", port), Exchange)
        self._server.receiver = self
        self._thread = threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)

    def __enter__(self) -> Receiver:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()

    @property
    def url(self) -> str:
        """Where it listens."""
        return f"http://127.0.0.1:{self._server.server_address[1]}"

    def take(self, exchange: Exchange) -> None:
        """Answer as the service does."""
        if exchange.headers.get("Authorization") != f"Bearer {self.token}":
            exchange.answer(401, {"title": "not you"}, "application/problem+json")
            return
        document = json.loads(exchange.body)
        if exchange.command == "PUT":
            with self.lock:
                self.statuses.append((exchange.path, document))
            exchange.answer(200, {})
            return
        exchange.answer(200, self._pack(document))

    def _pack(self, records: list[Record]) -> dict[str, Any]:
        accepted, duplicate, refused = 0, 0, []
        with self.lock:
            self.packs.append(len(records))
            for index, record in enumerate(records):
                reason = self.refuse(record)
                key = (record["n"], record["t"])
                if reason:
                    refused.append({"index": index, "reason": reason})
                elif key in self.records:
                    duplicate += 1
                else:
                    self.records[key] = record
                    self.order.append(key)
                    accepted += 1
            self.duplicates += duplicate
        return {"accepted": accepted, "duplicate": duplicate, "refused": refused}


def status(code: int) -> Misbehaviour:
    """Answer with a status and a problem body."""

    def misbehave(exchange: Exchange) -> bool:
        exchange.answer(code, {"title": "told to", "detail": f"told to answer {code}"}, "application/problem+json")
        return True

    return misbehave


def body(content: bytes, code: int = 200) -> Misbehaviour:
    """Answer with a body that is not the service's."""

    def misbehave(exchange: Exchange) -> bool:
        exchange.answer_bytes(code, content)
        return True

    return misbehave


def hang_up(exchange: Exchange) -> bool:
    """Close the connection without a word."""
    exchange.close_connection = True
    return True


def forget_to_answer(exchange: Exchange) -> bool:
    """Take the readings, then hang up before saying so: the worst moment."""
    records = json.loads(exchange.body)
    if isinstance(records, list):
        exchange.server.receiver._pack(records)
    exchange.close_connection = True
    return True
