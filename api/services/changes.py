"""Goes round all channels: has the water changed faster than its care range allows, within an hour or a day?

Must not do: judge what came late (``changes_late.py``).
"""

from __future__ import annotations

from collections.abc import Callable

from api.domain.alert import AlertEvent, AlertKind, Subject
from api.judge.alert_cycle import Delays, Sample
from api.judge.change import DAY_MS, HOUR_MS, SPANS_MS, Point, largest, look, steady
from api.judge.change_watch import limits_of
from api.services.ingest import Ingest
from api.services.plan import RoomPlan
from api.services.rounds import Rounds
from api.storage.base import Channel, Store

LOOK_EVERY_S = 60.0
STEP_MS = 300_000
DAY_STEP_MS = 3_600_000
DELAYS = Delays(300.0, 300.0, 600.0, 3, 3)
"""A short lift of a probe is no change of the water: five minutes and three looks, judgement."""


class Changes:
    """Looks once a minute."""

    def __init__(self, store: Store, ingest: Ingest, plan: Callable[[], RoomPlan], now_ms: Callable[[], int]) -> None:
        self._store, self._ingest, self._plan, self._now_ms = store, ingest, plan, now_ms
        self.rounds = Rounds("changes", self.look, LOOK_EVERY_S, now_ms)

    def look(self) -> None:
        """One look at every channel whose care range says how fast it may change."""
        now_ms, plan = self._now_ms(), self._plan()
        asked = []
        for one in self._store.readings.channels():
            channel = plan.channel(one.probe, one.quantity)
            if channel.tank is not None and channel.care is not None and not one.derived:
                asked += [(one, kind, channel.tank.id, limit) for kind, limit in limits_of(channel.care)]
        samples = [
            (Subject(tank, kind, one.probe, one.quantity), look(kind, change, limit, one.quantity, now_ms))
            for one, kind, tank, limit in asked
            if (change := largest(steady(self._points(one, kind, now_ms)), now_ms, SPANS_MS[kind])) is not None
        ]
        if samples:
            self._store.write(lambda: self._work(samples, now_ms), self._ingest.settle).result()

    def _work(self, samples: list[tuple[Subject, Sample]], now_ms: int) -> None:
        self._ingest.begin()
        events: list[AlertEvent] = []
        for subject, sample in samples:
            self._ingest.take(subject, sample, DELAYS, events)
        self._ingest.finish(events, now_ms)

    def _points(self, one: Channel, kind: AlertKind, now_ms: int) -> list[Point]:
        """Means of five minutes over an hour; of hours over a day, the last of it in five minutes."""
        near = self._means(one, now_ms - HOUR_MS - STEP_MS, now_ms + 1, STEP_MS)
        if kind is AlertKind.CHANGE_IN_HOUR or not near:
            return near
        far = self._means(one, now_ms - DAY_MS, near[0][0] - STEP_MS, DAY_STEP_MS)
        return [*far, *near]

    def _means(self, one: Channel, start_ms: int, end_ms: int, step_ms: int) -> list[Point]:
        spans = self._store.readings.summaries(one.probe, one.quantity, start_ms, end_ms, step_ms // 1000, step_ms)
        return [(span.start_ms + step_ms // 2, span.mean) for span in spans if span.mean is not None]
