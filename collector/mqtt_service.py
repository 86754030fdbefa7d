"""The service as the collector reaches it through an MQTT broker.

A broker's own acknowledgement means nothing here: readings are kept when the service itself answered that they are.
Must not do: take silence for an answer, or decide what happens to a reading.
"""

from __future__ import annotations

import json
import threading
from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from queue import Empty, SimpleQueue
from typing import Any

from api.domain.errors import InputError
from api.domain.reading import PROBE_ID, PROBE_ID_RULE, RawReading
from api.domain.senml import MEDIA_TYPE, encode
from api.domain.topics import GONE, Topics, pack_id, room_level
from collector.errors import PackRefused, PackTooLarge, ServiceTrouble
from collector.mqtt_line import Broker, Line
from collector.service import Answer, answer_of, failure

ANSWER_S = 15.0
REPORT_S = 5.0
UNDER_WAY = 64
"""Packs sent and not answered: fewer than a broker keeps for a slow reader before it lets some fall."""
Said = tuple[str, Any]


@dataclass(frozen=True, slots=True)
class Pack:
    """Readings of one probe under one topic; ``places`` is where they stand among all that were handed over."""

    topic: str
    payload: bytes
    id: str
    places: tuple[int, ...]


def packs_of(readings: Sequence[RawReading], most: int, topics: Topics) -> list[Pack]:
    """Readings by probe, in the order in which each probe first appears, at most so many in a pack."""
    by_probe: dict[str, list[int]] = {}
    for place, reading in enumerate(readings):
        by_probe.setdefault(reading.probe, []).append(place)
    packs = []
    for probe, places in by_probe.items():
        for first in range(0, len(places), most):
            some = tuple(places[first : first + most])
            payload = encode([readings[place] for place in some])
            packs.append(Pack(topics.readings(probe), payload, pack_id(payload), some))
    return packs


class Sums:
    """What came of the packs of one call."""

    def __init__(self, count: int) -> None:
        self._left = set(range(count))
        self._accepted = self._duplicate = 0
        self._refused: list[tuple[int, str]] = []
        self._later: list[tuple[int, str]] = []
        self.trouble: ServiceTrouble | PackRefused | None = None

    def take(self, pack: Pack, body: Any) -> None:
        """The service's answer to one pack."""
        try:
            status = body.get("status", 200)
            if status != 200:
                raise failure(status, f"the service answered {status}: {str(body.get('detail', ''))[:300]}")
            answer = answer_of(body, len(pack.places))
        except PackRefused as error:
            self.trouble = self.trouble or error
        except ServiceTrouble as error:
            self.trouble = error
        else:
            self._left.difference_update(pack.places)
            self._accepted += answer.accepted
            self._duplicate += answer.duplicate
            self._refused += [(pack.places[index], reason) for index, reason in answer.refused]
            self._later += [(pack.places[index], reason) for index, reason in answer.later]

    def answer(self) -> Answer:
        """All answers as one.

        Raises what went wrong when nothing was taken.
        """
        told = len(self._refused) + len(self._later)
        if self.trouble is not None and not self._accepted + self._duplicate + told:
            raise self.trouble
        refused, left = tuple(sorted(self._refused)), tuple(sorted(self._left))
        return Answer(self._accepted, self._duplicate, refused, left, self.trouble, tuple(sorted(self._later)))


class MqttService:
    """An ``Upstream`` through the broker; calls may come from several threads."""

    packs = 20

    def __init__(self, broker: Broker, room: str, name: str, pack_size: int, answer_s: float = ANSWER_S) -> None:
        if not PROBE_ID.match(name):
            raise InputError(f"--name {name[:80]!r} cannot stand in a topic: give it {PROBE_ID_RULE}")
        self._broker, self._name, self._pack_size, self._answer_s = broker, name, pack_size, answer_s
        self._topics = Topics(room_level(room))
        self._line: Line | None = None
        self._closed = False
        self._opening, self._asking = threading.Lock(), threading.Lock()
        self._asked: dict[str, SimpleQueue[Said | None]] = {}

    def post(self, readings: Sequence[RawReading]) -> Answer:
        """Hand readings over, many packs at once, and wait until the service has answered for each.

        Raises ServiceTrouble when it should be tried again, PackTooLarge and PackRefused when not as it is.
        """
        line, sums = self._up(), Sums(len(readings))
        todo = deque(packs_of(readings, self._pack_size, self._topics))
        under_way: dict[str, Pack] = {}
        said: SimpleQueue[Said | None] = SimpleQueue()
        try:
            while under_way or (todo and not isinstance(sums.trouble, ServiceTrouble)):
                self._send_some(line, todo, under_way, said, sums)
                name, body = self._next(line, said, self._answer_s)
                if name in under_way:
                    self._took(sums, under_way.pop(name), body)
        except ServiceTrouble as error:
            sums.trouble = error
            self._drop(line)
        finally:
            self._forget(under_way)
        return sums.answer()

    def _took(self, sums: Sums, pack: Pack, body: Any) -> None:
        sums.take(pack, body)
        if isinstance(sums.trouble, PackTooLarge):
            self._pack_size = min(self._pack_size, max(1, len(pack.places) // 2))

    def _send_some(
        self,
        line: Line,
        todo: deque[Pack],
        under_way: dict[str, Pack],
        said: SimpleQueue[Said | None],
        sums: Sums,
    ) -> None:
        while todo and len(under_way) < UNDER_WAY and not isinstance(sums.trouble, ServiceTrouble):
            pack = todo[0]
            if pack.id in under_way:
                return  # the same readings twice: one answer at a time, or nobody could tell them apart
            under_way[pack.id] = todo.popleft()
            self._ask(line, pack.topic, pack.payload, pack.id, said, MEDIA_TYPE)

    def put_status(self, name: str, document: dict[str, Any]) -> Any:
        """Report how the collector is; the service's answer.

        Raises ServiceTrouble.
        """
        line = self._up()
        payload = json.dumps(document).encode()
        said: SimpleQueue[Said | None] = SimpleQueue()
        try:
            self._ask(line, self._topics.status(name), payload, pack_id(payload), said, "application/json")
            _, body = self._next(line, said, REPORT_S)
        finally:
            self._forget([pack_id(payload)])
        if body.get("status") not in (200, 204):
            raise ServiceTrouble(f"the service answered {body.get('status')}: {str(body.get('detail', ''))[:300]}")
        return body

    def _ask(
        self, line: Line, topic: str, payload: bytes, name: str, said: SimpleQueue[Said | None], media_type: str
    ) -> None:
        with self._asking:
            self._asked[name] = said
        line.send(topic, payload, media_type)

    def _next(self, line: Line, said: SimpleQueue[Said | None], within_s: float) -> Said:
        if line.trouble:
            raise ServiceTrouble(line.trouble)
        try:
            answer = said.get(timeout=within_s)
        except Empty:
            raise ServiceTrouble(f"no answer from the service through {self._broker} within {within_s:g} s") from None
        if answer is None:
            raise ServiceTrouble(line.trouble)
        return answer

    def _forget(self, names: Iterable[str]) -> None:
        with self._asking:
            for name in names:
                self._asked.pop(name, None)

    def _up(self) -> Line:
        """A connection that works.

        Raises ServiceTrouble when there is none, or when the service has said that it is gone.
        """
        with self._opening:
            if self._closed:
                raise ServiceTrouble("the connection was closed by ourselves")
            if self._line is None or self._line.trouble:
                self._let_go()
                self._line = Line(self._broker, self._topics, self._name, self._heard, self._lost)
                self._line.open()
            line = self._line
        if line.service == GONE:
            raise ServiceTrouble(f"the service is not connected to {self._broker}")
        return line

    def _heard(self, name: str, body: Any) -> None:
        with self._asking:
            said = self._asked.pop(name, None)
        if said is not None:
            said.put((name, body))

    def _lost(self) -> None:
        with self._asking:
            waiting, self._asked = set(self._asked.values()), {}
        for said in waiting:
            said.put(None)

    def _drop(self, line: Line) -> None:
        with self._opening:
            if self._line is line:
                self._let_go()

    def _let_go(self) -> None:
        line, self._line = self._line, None
        if line is not None:
            line.close()

    def close(self) -> None:
        """Say goodbye and close the connection; safe to call twice."""
        with self._opening:
            self._closed = True
            self._let_go()
