"""Probes that publish their values to an MQTT broker as numbers, JSON or SenML, which it holds until we have them.

Must not do: tell the broker that a message is kept before the disk has it, or date a message by a guess.
"""

from __future__ import annotations

import socket
import ssl
from collections import deque
from collections.abc import Mapping
from hashlib import blake2s
from pathlib import Path
from typing import Any, ClassVar

from api.domain.reading import RawReading
from api.domain.tables import Key
from api.domain.tables import Place as Table
from api.domain.tank import Probe, RoomFile
from collector.codecs.json_pointer import tokens
from collector.codecs.payloads import Form, Item, JsonForm, NumberForm, Place, SenmlForm
from collector.drivers.base import EMPTY, Batch, Driver, Surroundings
from collector.drivers.mqtt_keys import KEYS, VALUE_KEYS, broker_of, check_keys, payload_of, topic_of, with_broker
from collector.drivers.mqtt_link import Message, MqttLink
from collector.drivers.mqtt_news import QUIET_S, News
from collector.errors import PortReason, PortTrouble

MACHINE_ID = Path("/etc/machine-id")


class MqttTopics(Driver):
    """The topics of one probe."""

    KEYS: ClassVar[tuple[Key, ...]] = KEYS
    VALUE_KEYS: ClassVar[tuple[Key, ...]] = VALUE_KEYS
    SOURCE_KEEPS = True

    def __init__(self, probe: Probe, options: Mapping[str, Any], around: Surroundings) -> None:
        super().__init__(probe, options, around)
        self._broker = broker_of(options)
        self._places: dict[str, list[Place]] = {}
        for value in probe.values:
            place = Place(value.quantity, value.unit, tokens(value.options.get("pointer") or ""))
            self._places.setdefault(topic_of(value, options), []).append(place)
        self._form = _form(probe, options)
        self._source = f"mqtt_topics {probe.id} {self._broker.host}:{self._broker.port}"
        self._link: MqttLink | None = None
        self._news: News | None = None
        self._unacked: deque[Message] = deque()

    @classmethod
    def filled(cls, options: Mapping[str, Any], room: RoomFile, place: Table) -> Mapping[str, Any]:
        """The broker of [room.mqtt] where the probe names none of its own.

        Raises RoomFileError.
        """
        return with_broker(options, room, place)

    @classmethod
    def check(cls, probe: Probe, options: Mapping[str, Any], place: Table) -> None:
        """Check topics, pointers and the way to the broker.

        Raises RoomFileError.
        """
        check_keys(probe, options, place)

    def open(self) -> None:
        """Connect as the same client as before, so that the broker hands on what it held."""
        keeps = not self.around.trial
        late_ms = round((self.options["late_s"] + self.probe.every_s) * 1000)
        news = News(self.around.bookmark(self._source) if keeps else None, late_ms)
        link = MqttLink(self.probe.id, self._broker, *self._secrets(), self._client_id(), keeps)
        self._link, self._unacked = link, deque()
        link.open(tuple(self._places), self.options["max_bytes"])
        news.connected(self.around.now_ms(), self.around.monotonic(), link.session)
        if news.in_doubt and link.is_quiet(QUIET_S):
            news.quiet(QUIET_S)
        self._news = news

    def _secrets(self) -> tuple[str, ssl.SSLContext | None]:
        broker, folder, name = self._broker, self.around.folder, ""
        try:
            password = broker.password
            if name := broker.password_file:
                password = (folder / name).read_text(encoding="utf-8").strip()
            name = broker.ca_file
            ca_file = str(folder / name) if name else None
            return password, ssl.create_default_context(cafile=ca_file) if broker.tls else None
        except (OSError, UnicodeDecodeError) as error:
            what = f"{name} in {folder} cannot be used: {error}"
            raise PortTrouble(self.probe.id, f"{broker.host}:{broker.port}", PortReason.SETTINGS, what) from error

    def _client_id(self) -> str:
        """A name that no other collector has, and that this one has again after a restart."""
        own: str | None = self.options["client_id"]
        if own is None:
            try:
                machine = MACHINE_ID.read_text(encoding="ascii")
            except (OSError, UnicodeDecodeError):
                machine = ""
            where = f"{machine} {socket.gethostname()} {self.around.folder}"
            own = f"intermolt-{self.probe.id}-{blake2s(where.encode(), digest_size=4).hexdigest()}"
        return f"{own}-trial" if self.around.trial else own

    def read(self, wait_s: float) -> Batch:
        """What was published since."""
        if self._link is None or self._news is None:
            name = f"{self._broker.host}:{self._broker.port}"
            raise PortTrouble(self.probe.id, name, PortReason.UNPLUGGED, "it is not open")
        messages = self._link.messages(wait_s)
        if not messages:
            self._news.quiet(self._link.idle_s)
            return EMPTY
        readings: list[RawReading] = []
        unreadable, last, undated = 0, "", False
        now_ms = self.around.now_ms()
        self._news.came(len(messages), self.around.monotonic())
        for message in messages:
            got, problems, without_time = self._one(message, now_ms, self._link, self._news)
            readings += got
            undated = undated or without_time
            if problems:
                unreadable += 1
                last = f"{message.topic}: {'; '.join(problems)[:300]}"
        kept = [message for message in messages if message.qos]
        self._unacked.extend(kept)
        bookmark = (self._source, self._news.mark(now_ms)) if undated and not self.around.trial else None
        return Batch(tuple(readings), unreadable, last, bookmark=bookmark, acks=len(kept))

    def _one(
        self, message: Message, now_ms: int, link: MqttLink, news: News
    ) -> tuple[list[RawReading], tuple[str, ...], bool]:
        """One message's readings, what is wrong with it, and whether it had values without a time."""
        places = self._places.get(message.topic or "")
        if places is None:
            if message.topic is not None:
                link.unsubscribe(message.topic)
            return [], ("is a topic this probe does not listen to any more; unsubscribed",), False
        if len(message.payload) > self.options["max_bytes"]:
            return [], (f"has more than {self.options['max_bytes']} bytes",), False
        said = self._form.read(message.payload, places)
        dated = [(item, item.time_ms) for item in said.items if item.time_ms is not None]
        undated = [item for item in said.items if item.time_ms is None]
        problems = said.problems
        if undated:
            if news.was_kept(message):
                undated = []
            elif old := news.old(message):
                undated, problems = [], (*problems, old)
            else:
                news.keep(message)
                stamp_ms = self.around.stamper.stamp(now_ms)
                dated += [(item, stamp_ms - item.before_ms) for item in undated]
        return [self._reading(item, time_ms) for item, time_ms in dated], problems, bool(undated)

    def _reading(self, item: Item, time_ms: int) -> RawReading:
        return RawReading(self.probe.id, item.quantity, time_ms, item.value, item.unit)

    def acknowledge(self, batch: Batch) -> None:
        """Tell the broker that these messages are kept; what it does not hear it sends again."""
        if self._link is None:
            return
        for _ in range(min(batch.acks, len(self._unacked))):
            self._link.ack(self._unacked.popleft())

    def close(self) -> None:
        """Say goodbye to the broker."""
        link, self._link = self._link, None
        self._news = None
        if link is not None:
            link.close()


def _form(probe: Probe, options: Mapping[str, Any]) -> Form:
    form, decimal = payload_of(probe, options), options["decimal"]
    if form == "senml":
        return SenmlForm(probe.id)
    if form == "number":
        return NumberForm(decimal)
    pointer = options["time_pointer"]
    return JsonForm(decimal, None if pointer is None else tokens(pointer), options["time_format"])
