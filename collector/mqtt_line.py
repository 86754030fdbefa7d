"""One connection to the broker, from its opening to its first trouble; what was not answered by then is asked anew.

Must not do: reconnect, or keep anything to be sent later: the spool does that.
"""

from __future__ import annotations

import contextlib
import json
import socket
import ssl
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from api.domain.errors import InputError
from api.domain.tank import Mqtt
from api.domain.topics import GONE, HERE, Topics
from collector.errors import ServiceTrouble

OPEN_S = 10.0
TOLD_S = 1.0
"""How long a broker may take to say whether the service is there; it says nothing when it never was. [s]"""
GOODBYE_S = 0.5
KEEPALIVE_S = 30
MOST_ANSWER_BYTES = 4_000_000
EXPIRES_S = 60
"""How long a broker may keep a pack for a service that is away: after that it has come again. [s]"""


@dataclass(frozen=True, slots=True)
class Broker:
    """A broker with its secrets read. ``trust`` None: no TLS."""

    settings: Mqtt
    password: str
    trust: ssl.SSLContext | None

    @classmethod
    def of(cls, settings: Mqtt, folder: Path) -> Broker:
        """Read the files that [room.mqtt] names, relative to the room file's folder.

        Raises InputError for one that cannot be used.
        """
        if not settings.host:
            raise InputError("[room.mqtt]: host is empty; give the broker's name or address")
        password, name = settings.password, settings.password_file
        try:
            if name:
                password = (folder / name).read_text(encoding="utf-8").strip()
            name = settings.ca_file
            ca_file = str(folder / name) if name else None
            trust = ssl.create_default_context(cafile=ca_file) if settings.tls else None
        except (OSError, UnicodeDecodeError, ssl.SSLError) as error:
            raise InputError(f"[room.mqtt]: {name} in {folder} cannot be used: {error}") from error
        return cls(settings, password, trust)

    @property
    def version_5(self) -> bool:
        """Whether MQTT 5 is spoken, otherwise 3.1.1."""
        return self.settings.version == "5"

    def __str__(self) -> str:
        return f"the broker {self.settings.host}:{self.settings.port}"


class Line:
    """``heard`` is called with the name of a pack and the answer's body, ``lost`` once when it is of no more use."""

    def __init__(
        self, broker: Broker, topics: Topics, name: str, heard: Callable[[str, Any], None], lost: Callable[[], None]
    ) -> None:
        self._broker, self._topics, self._name, self._heard, self._lost = broker, topics, name, heard, lost
        self._ready, self._told = threading.Event(), threading.Event()
        self.trouble = ""
        self.service = b""
        self._client = self._make()

    def _make(self) -> Client:
        broker = self._broker
        version = MQTTProtocolVersion.MQTTv5 if broker.version_5 else MQTTProtocolVersion.MQTTv311
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"intermolt-{self._topics.room}-collector-{self._name}",
            clean_session=None if broker.version_5 else True,
            protocol=version,
            reconnect_on_failure=False,
        )
        if broker.settings.user:
            client.username_pw_set(broker.settings.user, broker.password or None)
        if broker.trust is not None:
            client.tls_set_context(broker.trust)
        client.will_set(self._topics.collector_state(self._name), GONE, qos=1, retain=True)
        client.on_socket_open = _at_once
        client.on_connect = self._connected
        client.on_subscribe = self._subscribed
        client.on_message = self._message
        client.on_publish = self._published
        client.on_disconnect = self._disconnected
        return client

    def open(self) -> None:
        """Connect and subscribe to answers.

        Raises ServiceTrouble.
        """
        settings = self._broker.settings
        try:
            self._client.connect(settings.host, settings.port, KEEPALIVE_S)
        except (OSError, ValueError) as error:
            self._end(f"{self._broker} cannot be reached: {error}")
        else:
            self._client.loop_start()
            if not self._ready.wait(OPEN_S):
                self._end(f"{self._broker} did not answer within {OPEN_S:g} s")
        if self.trouble:
            raise ServiceTrouble(self.trouble)
        self._told.wait(TOLD_S)
        self._client.publish(self._topics.collector_state(self._name), HERE, qos=1, retain=True)

    def _connected(self, client: Client, data: Any, flags: Any, reason: Any, properties: Any) -> None:
        if reason.is_failure:
            self._end(f"{self._broker} lets us not in: {reason}")
            return
        # answers to a pack come where the pack asks for them, which version 3.1.1 cannot say
        mine = [self._topics.answers(self._name)] if self._broker.version_5 else [
            self._topics.kept(), self._topics.answers(self._name)
        ]  # fmt: skip
        self._client.subscribe([(topic, 1) for topic in (*mine, self._topics.service_state)])

    def _subscribed(self, client: Client, data: Any, mid: int, reasons: Any, properties: Any) -> None:
        if any(reason.is_failure for reason in reasons):
            self._end(f"{self._broker} does not let us hear answers: {', '.join(map(str, reasons))}")
        self._ready.set()

    def _message(self, client: Client, data: Any, message: MQTTMessage) -> None:
        if message.topic == self._topics.service_state:
            self.service = bytes(message.payload)
            self._told.set()
            return
        if len(message.payload) > MOST_ANSWER_BYTES:
            return
        try:
            body = json.loads(message.payload)
        except (ValueError, RecursionError):
            return  # whoever said this is not our service, whose answer is still waited for
        if isinstance(body, dict) and isinstance(body.get("pack"), str):
            self._heard(body["pack"], body)

    def _published(self, client: Client, data: Any, mid: int, reason: Any, properties: Any) -> None:
        if reason.is_failure:
            self._end(f"{self._broker} does not take what we say: {reason}")

    def _disconnected(self, client: Client, data: Any, flags: Any, reason: Any, properties: Any) -> None:
        self._end(f"{self._broker} hung up: {reason}")

    def _end(self, trouble: str) -> None:
        if not self.trouble:
            self.trouble = trouble
            self._ready.set()
            self._lost()

    def send(self, topic: str, payload: bytes, media_type: str) -> None:
        """Hand a message to the broker.

        Raises ServiceTrouble.
        """
        properties = None
        if self._broker.version_5:
            properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
            properties.ResponseTopic = self._topics.answers(self._name)
            properties.ContentType = media_type
            properties.MessageExpiryInterval = EXPIRES_S
        told = self._client.publish(topic, payload, qos=1, properties=properties)
        if self.trouble or told.rc not in (MQTTErrorCode.MQTT_ERR_SUCCESS, MQTTErrorCode.MQTT_ERR_NO_CONN):
            raise ServiceTrouble(self.trouble or f"{self._broker} takes nothing: {told.rc.name}")

    def close(self) -> None:
        """Say that we go, and go."""
        if not self.trouble:
            told = self._client.publish(self._topics.collector_state(self._name), GONE, qos=1, retain=True)
            with contextlib.suppress(RuntimeError, ValueError):  # the connection broke just now
                told.wait_for_publish(GOODBYE_S)
        self._end("the connection was closed by ourselves")
        _hang_up(self._client)


def _hang_up(client: Client) -> None:
    """End a connection at once, also one over which nothing passes any more."""
    client.disconnect()
    line = client.socket()
    if isinstance(line, socket.socket):
        with contextlib.suppress(OSError):
            line.shutdown(socket.SHUT_RDWR)  # else the library would wait until all it holds has gone out
    client.loop_stop()


def _at_once(client: Client, data: Any, line: Any) -> None:
    """Small messages go out as they are; waiting to fill a packet would cost each of them 40 ms."""
    line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
