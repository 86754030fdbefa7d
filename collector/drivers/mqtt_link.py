"""One connection to an MQTT broker that listens to some topics, from its opening to its first trouble.

Read and acknowledged from one thread, in bounded memory. Must not do: reconnect, understand a message, or acknowledge
one by itself.
"""

from __future__ import annotations

import select
import socket
import ssl
import time
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from api.domain.tank import Mqtt
from collector.errors import PortReason, PortTrouble

OPEN_S = 10.0
KEEPALIVE_S = 20
SESSION_S = 7 * 86400
"""How long a broker of MQTT 5 holds messages for us while we are away; with 3.1.1 it decides itself."""
UNDER_WAY = 50
MOST_MESSAGES = 200
CHUNK_BYTES = 1 << 14
HEAD_BYTES = 70_000
"""Room for a topic, the longest of which has 65,535 bytes, in front of the message."""
NOT_LET_IN = (134, 135)
OTHER_VERSION = 132
TAKEN_OVER = 142


@dataclass(frozen=True, slots=True)
class Message:
    """One message; ``topic`` is None when it is no text, ``payload`` cut off beyond what is wanted of it."""

    topic: str | None
    payload: bytes
    qos: int = 0
    mid: int = 0
    retain: bool = False
    dup: bool = False


class ClosingSocket(ssl.SSLSocket):
    """The library forgets to close a connection on which TLS could not be agreed."""

    def do_handshake(self, block: bool = False) -> None:
        """Agree on TLS, or close."""
        try:
            super().do_handshake(block)
        except OSError:
            self.close()
            raise


class _Bounded(Client):
    """The library holds a packet whole, up to 256 MB: this one lets the tail of a long one go as it comes."""

    most_bytes = 0

    def _sock_recv(self, bufsize: int) -> bytes:
        data = super()._sock_recv(min(bufsize, CHUNK_BYTES))
        del self._in_packet["packet"][self.most_bytes :]
        return data


class MqttLink:
    """``open``, then ``messages`` and ``ack`` as often as wanted, then ``close``."""

    def __init__(
        self, probe: str, broker: Mqtt, password: str, trust: ssl.SSLContext | None, client_id: str, keeps: bool
    ) -> None:
        self._probe, self._broker, self._keeps = probe, broker, keeps
        self.name = f"{broker.host}:{broker.port}"
        self._five = broker.version == "5"
        self._client = _Bounded(
            CallbackAPIVersion.VERSION2,
            client_id=client_id,
            clean_session=None if self._five else not keeps,
            protocol=MQTTProtocolVersion.MQTTv5 if self._five else MQTTProtocolVersion.MQTTv311,
            reconnect_on_failure=False,
            manual_ack=True,
        )
        if broker.user:
            self._client.username_pw_set(broker.user, password or None)
        if trust is not None:
            trust.sslsocket_class = ClosingSocket
            self._client.tls_set_context(trust)
        self._client.on_socket_open = _at_once
        self._client.on_connect = self._connected
        self._client.on_subscribe = self._subscribed
        self._client.on_message = self._message
        self._client.on_disconnect = self._disconnected
        self._inbox: deque[Message] = deque()
        self._trouble: PortTrouble | None = None
        self._topics: Sequence[str] = ()
        self._up = self._ready = False
        self.session = False
        self.idle_s = 0.0

    def open(self, topics: Sequence[str], most_bytes: int) -> None:
        """Connect and ask for the topics.

        Raises PortTrouble.
        """
        self._topics = topics
        self._client.most_bytes = most_bytes + HEAD_BYTES
        properties = None
        if self._five:
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            properties.ReceiveMaximum = UNDER_WAY
            properties.SessionExpiryInterval = SESSION_S if self._keeps else 0
        try:
            self._client.connect(
                self._broker.host,
                self._broker.port,
                KEEPALIVE_S,
                clean_start=not self._keeps if self._five else 3,
                properties=properties,
            )
        except (OSError, ValueError) as error:
            raise self._unreachable(error) from error
        end_s = time.monotonic() + OPEN_S
        while not self._ready and len(self._inbox) < MOST_MESSAGES:
            left_s = end_s - time.monotonic()
            if left_s <= 0:
                raise self._error(PortReason.SILENT, f"did not answer within {OPEN_S:g} s; is an MQTT broker there?")
            self._pump(left_s)
            if self._trouble is not None:
                raise self._trouble

    def _unreachable(self, error: Exception) -> PortTrouble:
        if isinstance(error, ssl.SSLCertVerificationError):
            what = f"its certificate is not to be trusted ({error.verify_message}); check ca_file, host and the clock"
            return self._error(PortReason.SETTINGS, what)
        if isinstance(error, ssl.SSLError):
            return self._error(PortReason.SETTINGS, f"does not speak TLS there ({error.reason}); check port and tls")
        if isinstance(error, socket.gaierror):
            return self._error(PortReason.MISSING, "no computer of this name is known; check host and the network")
        if isinstance(error, ConnectionRefusedError):
            return self._error(PortReason.MISSING, "nobody listens there; is the broker running, on this port?")
        if isinstance(error, TimeoutError):
            return self._error(PortReason.SILENT, "does not answer; check host, the network and firewalls")
        return self._error(PortReason.MISSING, f"cannot be reached: {error}")

    def is_quiet(self, for_s: float) -> bool:
        """Whether nothing comes for so long; what does come is there for ``messages``."""
        end_s = time.monotonic() + for_s
        while self._trouble is None and not self._inbox and (left_s := end_s - time.monotonic()) > 0:
            self._pump(left_s)
        return not self._inbox

    def messages(self, wait_s: float) -> list[Message]:
        """What has come, waiting no longer than ``wait_s`` for the first.

        Raises PortTrouble when the connection has gone and nothing is left of what it brought.
        """
        end_s = time.monotonic() + wait_s
        while self._trouble is None and len(self._inbox) < MOST_MESSAGES:
            left_s = 0.0 if self._inbox else max(0.0, end_s - time.monotonic())
            if not self._pump(left_s) and (self._inbox or time.monotonic() >= end_s):
                break
        if not self._inbox and self._trouble is not None:
            raise self._trouble
        found = list(self._inbox)
        self._inbox.clear()
        return found

    def _pump(self, wait_s: float) -> bool:
        """Let the library work, waiting no longer than ``wait_s`` for bytes; whether any came."""
        client, line = self._client, self._client.socket()
        if line is None:
            self._lost(
                "hung up" if self._up else "hung up before it had answered; does it want tls or another version?"
            )
            return False
        poll = select.poll()
        poll.register(line.fileno(), select.POLLIN | (select.POLLOUT if client.want_write() else 0))
        start_s = time.monotonic()
        pending = isinstance(line, ssl.SSLSocket) and line.pending() > 0
        events = poll.poll(0 if pending else min(wait_s, 1.0) * 1000)
        ready = pending or any(event & ~select.POLLOUT for _, event in events)
        if ready:
            client.loop_read()
        else:
            self.idle_s += time.monotonic() - start_s
        if client.want_write():
            client.loop_write()
        client.loop_misc()
        return ready

    def ack(self, message: Message) -> None:
        """The broker may forget this message.

        Raises PortTrouble when it cannot be told: then the message comes again.
        """
        if self._trouble is not None:
            raise self._trouble
        if self._client.ack(message.mid, message.qos) != MQTTErrorCode.MQTT_ERR_SUCCESS:
            raise self._error(PortReason.UNPLUGGED, "the connection was lost")

    def unsubscribe(self, topic: str) -> None:
        """Ask for no more messages of a topic."""
        self._client.unsubscribe(topic)

    def close(self) -> None:
        """Say goodbye; never raises. What the broker holds for us it goes on holding."""
        try:
            self._client.disconnect()
            line = self._client.socket()
            if line is not None:
                line.close()
        except OSError:
            pass  # the connection is gone already, which is what was wanted

    def _connected(self, client: Client, data: Any, flags: Any, reason: Any, properties: Any) -> None:
        user = f"user {self._broker.user!r}" if self._broker.user else "who gives no user name"
        if not reason.is_failure:
            self._up, self.session = True, bool(flags.session_present) and self._keeps
            client.subscribe([(topic, 1) for topic in self._topics])
        elif reason.value in NOT_LET_IN:
            self._fail(PortReason.REFUSED, f"lets {user} not in ({reason}); check user and password")
        elif reason.value == OTHER_VERSION:
            self._fail(PortReason.SETTINGS, f'does not speak MQTT {self._broker.version}; try version = "3.1.1"')
        else:
            self._fail(PortReason.REFUSED, f"refuses the connection: {reason}")

    def _subscribed(self, client: Client, data: Any, mid: int, reasons: Any, properties: Any) -> None:
        refused = [
            topic for topic, reason in zip(self._topics, reasons, strict=False) if reason.is_failure
        ]  # the answer has one reason for each topic, in order
        if refused:
            what = f"does not let us listen to {', '.join(refused)[:200]}; check the broker's access list"
            self._fail(PortReason.REFUSED, what)
        self._ready = True

    def _message(self, client: Client, data: Any, message: MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = None
        payload = bytes(message.payload)
        self._inbox.append(Message(topic, payload, message.qos, message.mid, message.retain, message.dup))
        self.idle_s = 0.0

    def _disconnected(self, client: Client, data: Any, flags: Any, reason: Any, properties: Any) -> None:
        if reason.value == TAKEN_OVER and flags.is_disconnect_packet_from_server:
            what = "another program took our place: it has the same client_id; give this probe one of its own"
            self._fail(PortReason.BUSY, what)
        elif self._up:
            self._lost(f"the connection was lost ({reason})")

    def _lost(self, what: str) -> None:
        self._fail(PortReason.UNPLUGGED, what)

    def _fail(self, reason: PortReason, what: str) -> None:
        self._trouble = self._trouble or self._error(reason, what)

    def _error(self, reason: PortReason, what: str) -> PortTrouble:
        return PortTrouble(self._probe, self.name, reason, what)


def _at_once(client: Client, data: Any, line: Any) -> None:
    """Acknowledgements are small and go out as they are; waiting to fill a packet would cost each of them 40 ms."""
    line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
