"""The parts of the service that go round by themselves: started, asked how they are, and ended together.

Must not do: know what a part does, or say "well" of one that has stopped.
"""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from pathlib import Path

from api.domain.errors import Transient
from api.domain.tank import RoomFile
from api.mqtt.door import MqttDoor
from api.notify import heartbeat
from api.notify.heartbeat import Heartbeats
from api.services.rounds import Rounds
from api.storage.base import Store

STALLED_MS = 60_000
WRITE_WITHIN_S = 10.0
NO_ANSWER = f"no answer within {WRITE_WITHIN_S:g} s"
WRITTEN_FOR_S = 5.0
"""A write that went well speaks for the store so long, so that many questions are not as many writes. [s]"""
STOPS_WITHIN_S = 1.5


class Parts:
    """``rounds`` by name, the store and the broker's door; and the calls to an outside watcher, if the room has one."""

    def __init__(
        self,
        store: Store,
        place: Path,
        rounds: Mapping[str, Rounds],
        mqtt: MqttDoor | None,
        beats: Rounds | None,
        now_ms: Callable[[], int],
    ) -> None:
        self._store, self._place, self._rounds, self._mqtt, self._now_ms = store, place, rounds, mqtt, now_ms
        self._all = [*rounds.values(), *([beats] if beats is not None else [])]
        self._written_s, self._asking = float("-inf"), threading.Lock()
        self._asked: Future[None] | None = None
        self._asked_s = 0.0

    def start(self) -> None:
        """Begin all rounds, and listening to the broker."""
        for one in self._all:
            one.start()
        if self._mqtt is not None:
            self._mqtt.start()

    def health(self) -> dict[str, str]:
        """Each part: "well", or what is wrong with it."""
        parts = {}
        now_ms = self._now_ms()
        for name, one in self._rounds.items():
            silent_ms = now_ms - one.beat_ms
            parts[name] = "well" if silent_ms < STALLED_MS else f"silent for {silent_ms // 1000} s"
        parts["store"] = self._store_health()
        if self._mqtt is not None:
            parts["mqtt"] = self._mqtt.health()
        return parts

    def ailment(self) -> str:
        """What keeps the service from judging and warning, in words; empty when it does. A broker may be away."""
        ill = {name: words for name, words in self.health().items() if words != "well" and name != "mqtt"}
        return "; ".join(f"{name}: {words}" for name, words in ill.items())

    def _store_health(self) -> str:
        """Whether the store keeps something now: an empty transaction would go well on a full disk."""
        if not self._asking.acquire(timeout=WRITE_WITHIN_S):
            return NO_ANSWER
        try:
            return self._written()
        finally:
            self._asking.release()

    def _written(self) -> str:
        if time.monotonic() - self._written_s < WRITTEN_FOR_S:
            return "well"
        kept = self._store.write(lambda: self._store.state.count_up({"written": 1}))
        try:
            kept.result(timeout=WRITE_WITHIN_S)
        except TimeoutError:
            kept.cancel()
            return NO_ANSWER
        except Transient as error:
            return f"{error} ({self._free()} free on the disk of {self._place})"
        self._written_s = time.monotonic()
        return "well"

    def _free(self) -> str:
        try:
            return f"{shutil.disk_usage(self._place).free / 1e6:.1f} MB"
        except OSError as error:
            return f"it cannot be told how much is ({error.strerror})"

    def late_s(self) -> dict[str, float]:
        """By how much each part is overdue. A store that says it cannot write does answer. [s]"""
        late = {name: one.late_s() for name, one in self._rounds.items()}
        now_s = time.monotonic()
        if self._asked is None or self._asked.done():
            self._asked, self._asked_s = self._store.write(lambda: None), now_s
        return {**late, "store": now_s - self._asked_s}

    def ask_to_end(self) -> None:
        """Begin nothing new."""
        for one in self._all:
            one.ask_to_end()

    def stop(self) -> None:
        """End all rounds; one that hangs is left behind."""
        self.ask_to_end()
        if self._mqtt is not None:
            self._mqtt.stop()
        end_s = time.monotonic() + STOPS_WITHIN_S
        for one in self._all:
            one.stop(max(0.0, end_s - time.monotonic()))


def heartbeats(file: RoomFile | None, ailment: Callable[[], str], now_ms: Callable[[], int]) -> Rounds | None:
    """Rounds of calls to the outside watcher of a room file; None when it has none.

    Raises InputError for a watcher that is no web address.
    """
    if file is None or file.heartbeat is None:
        return None
    return Rounds("heartbeat", Heartbeats(file.heartbeat, ailment).look, heartbeat.LOOK_EVERY_S, now_ms)
