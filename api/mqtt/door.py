"""The door for readings and collectors' words that come through an MQTT broker.

A message is acknowledged to the broker, and answered to its sender, after it is stored; what cannot be used is
answered with a reason and counted. Must not do: judge; the line does.
"""

from __future__ import annotations

import json
import logging
import threading
from collections import Counter
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from paho.mqtt.client import MQTTMessage

from api.domain import senml
from api.domain.errors import InputError, Transient
from api.domain.reading import RawReading
from api.domain.senml import Refused
from api.domain.tank import RoomFile
from api.domain.topics import Topics, pack_id, room_level
from api.mqtt.line import Broker, Line
from api.mqtt.turns import Turn, Turns
from api.services.collector_status import check_status, keep_status
from api.services.danger import danger_limits
from api.services.ingest import Ingest, Outcome
from api.services.rounds import Rounds
from api.storage.base import Store

MOST_BYTES = 2_000_000
MOST_RECORDS = 10_000
MOST_COMMAS = 20 * MOST_RECORDS
"""A pack of more cannot be one of ours; it is turned away before it is read, as every item would cost memory."""
MOST_HELD = 500
AGAIN_S = 2.0
log = logging.getLogger("intermolt.mqtt")


class Unusable(InputError):
    """A message that is turned away; ``status`` as HTTP would have it."""

    def __init__(self, status: int, title: str, detail: str) -> None:
        self.status, self.title = status, title
        super().__init__(detail)


Work = tuple[Callable[[], Future[Any]], Callable[[Any], dict[str, Any]]]
"""How a message is kept, and how its answer is worded."""
_NOTHING: Work = (Future, dict)


@dataclass(frozen=True, slots=True)
class Letter:
    """One message on its way into the store."""

    turns: Turns
    turn: Turn
    answer_topic: str
    correlation: bytes | None
    id: str
    keep: Callable[[], Future[Any]]
    words: Callable[[Any], dict[str, Any]]


class MqttDoor:
    """Hears packs, has them kept, answers. ``counts`` tells how many messages were turned away, and why."""

    def __init__(self, broker: Broker, room: str, ingest: Ingest, store: Store, now_ms: Callable[[], int]) -> None:
        self._ingest, self._store, self._now_ms = ingest, store, now_ms
        self.topics = Topics(room_level(room))
        self.line = Line(broker, self.topics, self)
        self.rounds = Rounds("mqtt", self._round, AGAIN_S, now_ms)
        self.counts: Counter[str] = Counter()
        self._held: list[Letter] = []
        self._lock = threading.Lock()

    def start(self) -> None:
        """Begin to listen."""
        self.line.start()
        self.rounds.start()

    def stop(self) -> None:
        """Stop listening; what is not stored comes again at the next start."""
        self.rounds.stop()
        self.line.stop()

    def health(self) -> str:
        """ "well", or what is wrong."""
        if self.line.trouble:
            return self.line.trouble
        return f"{len(self._held)} packs wait for the store" if self._held else "well"

    def hear(self, message: MQTTMessage, turns: Turns, turn: Turn) -> None:
        """A message came; see ``Hearer``."""
        asked, correlation = _asked(message)
        answer_topic = self.topics.answer_topic(message.topic, asked)
        payload = bytes(message.payload)
        answer = (turns, turn, answer_topic, correlation, pack_id(payload))
        try:
            work = self._read(message.topic, payload)
        except Unusable as error:
            self._turn_away(Letter(*answer, *_NOTHING), error)
        except Exception as error:
            log.exception("topic=%s: a message could not be read", message.topic[:100])
            self._turn_away(Letter(*answer, *_NOTHING), Unusable(500, "Fault in Intermolt", repr(error)[:300]))
        else:
            self._keep(Letter(*answer, *work))

    def _read(self, topic: str, payload: bytes) -> Work:
        """What is to be done with a message. Raises Unusable."""
        if len(payload) > MOST_BYTES:
            raise Unusable(413, "Too large", f"{len(payload)} bytes; send at most {MOST_BYTES} in a message")
        collector = self.topics.collector_of(topic)
        if collector is not None:
            return self._status(collector, payload)
        probe = self.topics.probe_of(topic)
        if probe is None:
            raise Unusable(400, "No probe's topic", f"{topic[:100]!r} names no probe that could be one")
        if payload.count(b",") > MOST_COMMAS:
            raise Unusable(413, "Too many records", f"send at most {MOST_RECORDS} in a pack")
        now_ms = self._now_ms()
        try:
            items = senml.decode(payload, now_ms)
        except InputError as error:
            raise Unusable(400, "Not a SenML pack", str(error)) from error
        if len(items) > MOST_RECORDS:
            raise Unusable(413, "Too many records", f"{len(items)} records; send at most {MOST_RECORDS} in a pack")
        mine = [_only(probe, index, item) for index, item in enumerate(items)]
        return lambda: self._ingest.accept(mine, now_ms), _outcome

    def _status(self, collector: str, payload: bytes) -> Work:
        try:
            body = check_status(json.loads(payload))
        except (ValueError, RecursionError) as error:
            raise Unusable(400, "Not a collector's status", str(error)) from error
        now_ms = self._now_ms()
        return lambda: keep_status(self._store, collector, body, now_ms), lambda _: self._thanks(now_ms)

    def _thanks(self, now_ms: int) -> dict[str, Any]:
        """A status is kept; with the thanks come the danger limits."""
        return {"status": 200, "danger": danger_limits(self._store, self._ingest.plan(), now_ms)}

    def _keep(self, letter: Letter, *, again: bool = False) -> None:
        with self._lock:
            if self._held:
                self._hold(letter)
                return
        letter.keep().add_done_callback(lambda future: self._kept(letter, future, again))

    def _kept(self, letter: Letter, future: Future[Any], again: bool) -> None:
        """In the store's writer: the transaction has ended."""
        error = future.exception()
        if error is None:
            self._answer(letter, letter.words(future.result()))
        elif not isinstance(error, Transient):
            log.error("a message could not be judged", exc_info=error)
            self._turn_away(letter, Unusable(500, "Fault in Intermolt", repr(error)[:300]))
        else:
            with self._lock:
                self._hold(letter)
            if not again:
                detail = f"{error}; it is tried again"
                body = {"status": 503, "title": "Not kept", "detail": detail}
                letter.turns.while_open(lambda: self._say(letter, body))

    def _hold(self, letter: Letter) -> None:
        """Keep a letter for the next round. Over the limit those of an earlier connection go: they come again."""
        if len(self._held) >= MOST_HELD:
            self._held = [one for one in self._held if one.turns.open]
        if len(self._held) < MOST_HELD:
            self._held.append(letter)
        else:
            self.counts["Not kept"] += 1

    def _round(self) -> None:
        self.line.look_after()
        with self._lock:
            held, self._held = self._held, []
        for letter in held:
            self._keep(letter, again=True)

    def _turn_away(self, letter: Letter, error: Unusable) -> None:
        self.counts[error.title] += 1
        count = self.counts[error.title]
        if count & (count - 1) == 0:  # the 1st, 2nd, 4th, 8th ...: a flood must not fill the log
            log.warning("turned away (%d so far): %s: %s", count, error.title, error)
        self._answer(letter, {"status": error.status, "title": error.title, "detail": str(error)})

    def _answer(self, letter: Letter, body: dict[str, Any]) -> None:
        letter.turns.done(letter.turn, lambda: self._say(letter, body))

    def _say(self, letter: Letter, body: dict[str, Any]) -> None:
        payload = json.dumps({"pack": letter.id, **body}).encode()
        self.line.send(letter.answer_topic, payload, letter.correlation)


def open_door(
    file: RoomFile | None, folder: Path, ingest: Ingest, store: Store, now_ms: Callable[[], int]
) -> MqttDoor | None:
    """The door of a room that has a broker; it listens from ``start`` on.

    Raises InputError for a broker's file that cannot be read.
    """
    if file is None or file.mqtt is None:
        return None
    return MqttDoor(Broker.of(file.mqtt, folder), file.room.name, ingest, store, now_ms)


def _asked(message: MQTTMessage) -> tuple[str, bytes | None]:
    """Where the sender wants its answer, and under which word of its own; version 5 only."""
    properties = message.properties
    topic = getattr(properties, "ResponseTopic", None)
    return (topic if isinstance(topic, str) else ""), getattr(properties, "CorrelationData", None)


def _only(probe: str, index: int, item: RawReading | Refused | None) -> RawReading | Refused | None:
    """A topic speaks for one probe: what names another is refused."""
    if isinstance(item, RawReading) and item.probe != probe:
        return Refused(index, f"it names probe {item.probe!r} in a pack of probe {probe!r}")
    return item


def _outcome(outcome: Outcome) -> dict[str, Any]:
    refused = [item.body() for item in outcome.refused]
    return {"status": 200, "accepted": outcome.accepted, "duplicate": outcome.duplicate, "refused": refused}
