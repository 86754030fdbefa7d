"""A recording stand-in for the service behind a real broker, which can be told to misbehave.

Must not do: judge readings; it only remembers them, as a set over (name, time).
"""

from __future__ import annotations

import json
import threading
from collections import deque
from collections.abc import Callable
from types import TracebackType
from typing import Any

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from api.domain.topics import GONE, HERE, Topics, pack_id

Misbehaviour = Callable[["Answerer", str, bytes], bool]
"""Answers a message itself (topic for answers, payload) and says True, or leaves it and says False."""


class Answerer:
    """Use as a context. ``script`` misbehaves for the next packs in order, ``always`` for all others."""

    def __init__(self, port: int, room: str = "trial") -> None:
        self.topics = Topics(room)
        self._port = port
        self._ready = threading.Event()
        self.client = Client(CallbackAPIVersion.VERSION2, "answerer", protocol=MQTTProtocolVersion.MQTTv5)
        self.client.will_set(self.topics.service_state, GONE, 1, True)
        self.client.on_connect = self._connected
        self.client.on_subscribe = lambda *rest: self._ready.set()
        self.client.on_message = self._message
        self.records: dict[tuple[str, float], dict[str, Any]] = {}
        self.order: list[tuple[str, float]] = []
        self.packs: list[tuple[str, int]] = []
        self.statuses: list[tuple[str, Any]] = []
        self.duplicates = 0
        self.script: deque[Misbehaviour] = deque()
        self.always: Misbehaviour | None = None
        self.refuse: Callable[[dict[str, Any]], str] = lambda record: ""

    def _connected(self, client: Client, *rest: Any) -> None:
        client.subscribe([(self.topics.readings(), 1), (self.topics.status(), 1)])
        client.publish(self.topics.service_state, HERE, 1, True)

    def _message(self, client: Client, data: Any, message: MQTTMessage) -> None:
        payload = bytes(message.payload)
        asked = getattr(message.properties, "ResponseTopic", "")
        answers = self.topics.answer_topic(message.topic, asked)
        if message.topic.endswith("/status"):
            self.statuses.append((message.topic, json.loads(payload)))
            self.answer(answers, payload, {"status": 204})
            return
        misbehave = self.script.popleft() if self.script else self.always
        if misbehave is None or not misbehave(self, answers, payload):
            self.answer(answers, payload, self.take(message.topic, payload))

    def answer(self, topic: str, payload: bytes, body: dict[str, Any]) -> None:
        """Answer a message."""
        self.client.publish(topic, json.dumps({"pack": pack_id(payload), **body}), 1)

    def take(self, topic: str, payload: bytes) -> dict[str, Any]:
        """Remember a pack; the answer's body."""
        accepted, duplicate, refused = 0, 0, []
        records = json.loads(payload)
        self.packs.append((topic, len(records)))
        for index, record in enumerate(records):
            key = (record["n"], record["t"])
            if reason := self.refuse(record):
                refused.append({"index": index, "reason": reason})
            elif key in self.records:
                duplicate += 1
            else:
                self.records[key] = record
                self.order.append(key)
                accepted += 1
        self.duplicates += duplicate
        return {"status": 200, "accepted": accepted, "duplicate": duplicate, "refused": refused}

    def __enter__(self) -> Answerer:
        self.client.connect("127.0.0.1", self._port)
        self.client.loop_start()
        assert self._ready.wait(5)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.client.publish(self.topics.service_state, GONE, 1, True).wait_for_publish(2)
        self.client.disconnect()
        self.client.loop_stop()


def status(code: int) -> Misbehaviour:
    """Answer with a status and its reason."""

    def misbehave(answerer: Answerer, topic: str, payload: bytes) -> bool:
        answerer.answer(topic, payload, {"status": code, "title": "told to", "detail": f"told to answer {code}"})
        return True

    return misbehave


def said(body: Any) -> Misbehaviour:
    """Answer with a body that is not the service's."""

    def misbehave(answerer: Answerer, topic: str, payload: bytes) -> bool:
        answerer.client.publish(topic, body if isinstance(body, bytes) else json.dumps(body), 1)
        return True

    return misbehave


def counted(body: dict[str, Any]) -> Misbehaviour:
    """Answer under the right name, with counts that are not right."""

    def misbehave(answerer: Answerer, topic: str, payload: bytes) -> bool:
        answerer.answer(topic, payload, body)
        return True

    return misbehave


def silent(answerer: Answerer, topic: str, payload: bytes) -> bool:
    """Say nothing, as when the broker let the pack fall."""
    return True


def forget_to_answer(answerer: Answerer, topic: str, payload: bytes) -> bool:
    """Take the readings and say nothing: the worst moment."""
    answerer.take("", payload)
    return True
