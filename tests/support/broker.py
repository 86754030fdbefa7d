"""A real MQTT broker that keeps what it holds through a crash, speaks TLS when asked to, and lets tests publish.

Must not do: stop anything it did not start.
"""

from __future__ import annotations

import signal
import ssl
import threading
from pathlib import Path
from types import TracebackType
from typing import Any

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.reasoncodes import ReasonCode

from tests.support.mosquitto import Mosquitto, certificates

WITHIN_S = 10.0


class Broker(Mosquitto):
    """``Mosquitto`` with a memory on the disk; ``authority`` is the file to trust when ``tls`` was asked for.

    Use as a context, or with ``start``; ``kill`` is a power cut, ``stop`` an orderly end, after both it can be started
    again on the same port. ``users`` are names and passwords; without them everybody is let in.
    """

    def __init__(
        self, folder: Path, port: int = 0, extra: str = "", users: dict[str, str] | None = None, tls: bool = False
    ) -> None:
        lines = [
            "persistence true",
            f"persistence_location {folder}/",
            "autosave_interval 1",
            "autosave_on_changes true",
        ]
        lines += ["set_tcp_nodelay true", extra]
        self.authority: Path | None = None
        if tls:
            self.authority, certificate, key = certificates(folder / "certificates")
            lines += [f"certfile {certificate}", f"keyfile {key}"]
        super().__init__(folder, port, "\n".join(lines), users)

    def __enter__(self) -> Broker:
        self.start()
        return self

    def stop(self) -> None:
        """End it in order: what it holds is on the disk."""
        if self._process is not None:
            self._process.send_signal(signal.SIGTERM)
            self._process.wait(WITHIN_S)
            self._process = None

    def publisher(self, user: str = "", password: str = "") -> Publisher:
        """Somebody who publishes."""
        return Publisher(self.port, user, password, self.authority)

    def publish(self, topic: str, payload: str | bytes, qos: int = 1, retain: bool = False) -> None:
        """Publish one message, and wait until the broker has it."""
        with self.publisher() as publisher:
            publisher.say(topic, payload, qos, retain)


class Publisher:
    """A client that publishes; use as a context."""

    def __init__(self, port: int, user: str = "", password: str = "", authority: Path | None = None) -> None:
        self._client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        self._client.max_inflight_messages_set(100)
        self._client.on_connect = self._connected
        self._up = threading.Event()
        self._port = port
        if user:
            self._client.username_pw_set(user, password)
        if authority is not None:
            self._client.tls_set_context(ssl.create_default_context(cafile=str(authority)))

    def _connected(self, client: Client, data: Any, flags: Any, reason: ReasonCode, properties: Any) -> None:
        if not reason.is_failure:
            self._up.set()

    def say(self, topic: str, payload: str | bytes, qos: int = 1, retain: bool = False) -> None:
        """Publish, and wait until the broker has it."""
        self._client.publish(topic, payload, qos, retain).wait_for_publish(WITHIN_S)

    def say_all(self, topic: str, payloads: list[str], qos: int = 1) -> None:
        """Publish many, then wait until the broker has the last."""
        told = [self._client.publish(topic, payload, qos) for payload in payloads]
        for one in told:
            one.wait_for_publish(WITHIN_S)

    def __enter__(self) -> Publisher:
        self._client.connect("127.0.0.1", self._port)
        self._client.loop_start()
        assert self._up.wait(WITHIN_S), "the broker does not let the test in"
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._client.disconnect()
        self._client.loop_stop()
