"""The service's connection to the broker: one session that outlives restarts, opened again whenever it breaks.

Must not do: look into messages, or acknowledge one by itself.
"""

from __future__ import annotations

import contextlib
import logging
import socket
import ssl
import sys
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from api.domain.errors import InputError
from api.domain.tank import Mqtt
from api.domain.topics import GONE, HERE, Topics
from api.mqtt.turns import Turn, Turns

GOODBYE_S = 1.0
KEEPALIVE_S = 30
SESSION_S = 7 * 86_400
"""How long a broker remembers the session of a service that is away. [s]"""
AT_ONCE = 64
MOST_PACKET_BYTES = 10_000_000
LONGEST_WAIT_S = 30
log = logging.getLogger("intermolt.mqtt")


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


class Hearer(Protocol):
    """Who is told of messages, in the connection's own thread."""

    def hear(self, message: MQTTMessage, turns: Turns, turn: Turn) -> None:
        """A message came; it comes again after a break unless ``turns.done`` is called. Must not raise."""


class Line:
    """Connects, subscribes, says that the service is here; ``trouble`` is empty while all of it stands."""

    def __init__(self, broker: Broker, topics: Topics, hearer: Hearer) -> None:
        self._broker, self._topics, self._hearer = broker, topics, hearer
        self.trouble = f"connecting to {broker}"
        self._turns = Turns(lambda number, quality: None)
        self._client: Client | None = None
        self._lock = threading.Lock()

    def start(self) -> None:
        """Begin to connect; never waits."""
        with self._lock:
            client = self._client = self._make()
            client.connect_async(
                self._broker.settings.host,
                self._broker.settings.port,
                KEEPALIVE_S,
                clean_start=False,
                properties=_session() if self._broker.version_5 else None,
            )
            client.loop_start()

    def _make(self) -> Client:
        broker = self._broker
        version = MQTTProtocolVersion.MQTTv5 if broker.version_5 else MQTTProtocolVersion.MQTTv311
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"intermolt-{self._topics.room}-service",
            clean_session=None if broker.version_5 else False,
            protocol=version,
            manual_ack=True,
        )
        if broker.settings.user:
            client.username_pw_set(broker.settings.user, broker.password or None)
        if broker.trust is not None:
            client.tls_set_context(broker.trust)
        client.reconnect_delay_set(1, LONGEST_WAIT_S)
        client.will_set(self._topics.service_state, GONE, qos=1, retain=True)
        client.on_socket_open = _at_once
        client.on_connect = self._connected
        client.on_connect_fail = self._unreachable
        client.on_subscribe = self._subscribed
        client.on_message = self._message
        client.on_disconnect = self._disconnected
        return client

    def _connected(self, client: Client, data: Any, flags: Any, reason: Any, properties: Any) -> None:
        if reason.is_failure:
            self._fails(f"{self._broker} lets us not in: {reason}")
            return
        self._turns.close()
        self._turns = Turns(client.ack)
        client.subscribe([(self._topics.readings(), 1), (self._topics.status(), 1)])

    def _subscribed(self, client: Client, data: Any, mid: int, reasons: Any, properties: Any) -> None:
        if any(reason.is_failure for reason in reasons):
            self._fails(f"{self._broker} does not let us hear readings: {', '.join(map(str, reasons))}")
            return
        client.publish(self._topics.service_state, HERE, qos=1, retain=True)
        log.info("connected to %s", self._broker)
        self.trouble = ""

    def _message(self, client: Client, data: Any, message: MQTTMessage) -> None:
        self._hearer.hear(message, self._turns, self._turns.take(message.mid, message.qos))

    def _disconnected(self, client: Client, data: Any, flags: Any, reason: Any, properties: Any) -> None:
        self._turns.close()
        if not self.trouble:
            self._fails(f"{self._broker} hung up: {reason}")

    def _unreachable(self, client: Client, data: Any) -> None:
        # the library calls this from where it caught the error and does not hand it over
        self._fails(f"{self._broker} cannot be reached: {sys.exc_info()[1]}")

    def _fails(self, trouble: str) -> None:
        if trouble != self.trouble:
            log.warning("%s", trouble)
        self.trouble = trouble

    def look_after(self) -> None:
        """Start anew when the connection's thread has ended, as a garbled packet may make it."""
        with self._lock:
            client = self._client
            ended = client is not None and client.loop_start() == MQTTErrorCode.MQTT_ERR_SUCCESS
        if client is not None and ended:
            self._fails(f"the connection to {self._broker} had failed in itself and is opened anew")
            self._turns.close()
            _hang_up(client)
            self.start()

    def send(self, topic: str, payload: bytes, correlation: bytes | None = None) -> None:
        """Hand a message to the broker; called while the connection stands."""
        properties = None
        if self._broker.version_5:
            properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
            properties.ContentType = "application/json"
            if correlation is not None:
                properties.CorrelationData = correlation
        if self._client is not None:
            self._client.publish(topic, payload, qos=1, properties=properties)

    def stop(self) -> None:
        """Say that the service goes, and go; the session stays at the broker."""
        with self._lock:
            client, self._client = self._client, None
        if client is None:
            return
        self._turns.close()
        client.on_disconnect = None
        if not self.trouble:
            told = client.publish(self._topics.service_state, GONE, qos=1, retain=True)
            with contextlib.suppress(RuntimeError, ValueError):  # the connection broke just now
                told.wait_for_publish(GOODBYE_S)
        _hang_up(client)


def _at_once(client: Client, data: Any, line: Any) -> None:
    """Small messages go out as they are; waiting to fill a packet would cost each of them 40 ms."""
    line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


def _hang_up(client: Client) -> None:
    """End a connection at once, also one over which nothing passes any more."""
    client.disconnect()
    line = client.socket()
    if isinstance(line, socket.socket):
        with contextlib.suppress(OSError):
            line.shutdown(socket.SHUT_RDWR)  # else the library would wait until all it holds has gone out
    client.loop_stop()


def _session() -> Properties:
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.SessionExpiryInterval = SESSION_S
    properties.ReceiveMaximum = AT_ONCE
    properties.MaximumPacketSize = MOST_PACKET_BYTES
    return properties
