"""A small board that speaks MQTT itself: publishes anything anywhere, and hears everything that is said.

Must not do: know what a pack is.
"""

from __future__ import annotations

import json
import queue
import threading
import time
from types import TracebackType
from typing import Any

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties


class Speaker:
    """Use as a context. ``heard`` are (topic, payload) in order; ``version`` "5" or "3.1.1"."""

    def __init__(self, port: int, version: str = "5", hears: str = "#", user: str = "", password: str = "") -> None:
        self._five = version == "5"
        protocol = MQTTProtocolVersion.MQTTv5 if self._five else MQTTProtocolVersion.MQTTv311
        self.client = Client(CallbackAPIVersion.VERSION2, protocol=protocol)
        if user:
            self.client.username_pw_set(user, password)
        self._port, self._hears = port, hears
        self._ready = threading.Event()
        self.client.on_connect = lambda client, *rest: client.subscribe(self._hears, 1)
        self.client.on_subscribe = lambda *rest: self._ready.set()
        self.client.on_message = self._message
        self.heard: list[tuple[str, bytes]] = []
        self.correlations: list[bytes | None] = []
        self._news: queue.SimpleQueue[MQTTMessage] = queue.SimpleQueue()

    def _message(self, client: Client, data: Any, message: MQTTMessage) -> None:
        self.heard.append((message.topic, bytes(message.payload)))
        self.correlations.append(getattr(message.properties, "CorrelationData", None))
        self._news.put(message)

    def say(
        self, topic: str, payload: bytes, qos: int = 1, answer: str = "", word: bytes = b"", retain: bool = False
    ) -> None:
        """Publish, and wait until the broker has it."""
        properties = None
        if self._five and answer:
            properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
            properties.ResponseTopic = answer
            properties.CorrelationData = word
        self.client.publish(topic, payload, qos, retain, properties).wait_for_publish(5)

    def hear(self, topic: str, within_s: float = 5.0) -> Any:
        """The next message on a topic, read as JSON."""
        end_s = time.monotonic() + within_s
        while (left_s := end_s - time.monotonic()) > 0:
            try:
                message = self._news.get(timeout=left_s)
            except queue.Empty:
                break
            if message.topic == topic:
                return json.loads(message.payload)
        raise AssertionError(f"nothing was said on {topic} within {within_s:g} s; heard: {self.heard[-5:]}")

    def __enter__(self) -> Speaker:
        self.client.connect("127.0.0.1", self._port)
        self.client.loop_start()
        assert self._ready.wait(5)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.client.disconnect()
        self.client.loop_stop()
