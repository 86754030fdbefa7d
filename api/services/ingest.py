"""THE LINE inside the service: raw readings in; converted, checked, judged and kept, or refused one by one.

Everything of a pack (readings, alert states, outbox) is one transaction. Must not do: drop a reading in silence.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass

from api.domain.alert import AlertEvent
from api.domain.quantity import Quantity
from api.domain.reading import Arrival, CheckedReading, RawReading
from api.domain.senml import Refused
from api.services.checked import Checked
from api.services.judging import Judging
from api.services.plan import ChannelPlan, RoomPlan
from api.services.station import Station
from api.services.warn import Warn
from api.storage.base import LATE, Store

EARLIEST_MS = 946_684_800_000
"""2000-01-01: a clock that says less was never set."""
AHEAD_MS = 600_000
"""How far a collector's clock may run ahead of the service's. [ms]"""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a pack; ``refused`` in the order of the pack."""

    accepted: int
    duplicate: int
    refused: tuple[Refused, ...]


class Ingest:
    """Takes packs, one after the other, in the store's writer."""

    def __init__(self, store: Store, plan: Callable[[], RoomPlan], warn: Warn) -> None:
        self._store, self._plan, self._warn = store, plan, warn
        self.also: Callable[[CheckedReading, ChannelPlan, list[AlertEvent]], None] | None = None
        """Hears of each judged reading that came in time: for who has no clock to look by."""
        self.plan = plan
        self.station = Station(store, plan())
        self.judging = Judging(store)
        self.newest, self.tracks, self.take, self.track_of = (
            self.station.newest,
            self.judging.tracks,
            self.judging.take,
            self.judging.track_of,
        )

    def accept(self, items: Sequence[RawReading | Refused | None], now_ms: int) -> Future[Outcome]:
        """Keep and judge a pack; the future ends after everything of it is committed."""
        return self._store.write(lambda: self._work(items, now_ms), self.settle)

    def settle(self, kept: bool) -> None:
        """The transaction ended."""
        self.station.settle(kept)
        self.judging.settle(kept)

    def begin(self) -> None:
        """Start a piece of work in the writer."""
        self.station.begin()
        self.judging.begin()

    def finish(self, events: list[AlertEvent], now_ms: int) -> None:
        """Keep the tracks that changed and tell what happened; the last step of a piece of work in the writer."""
        self._store.state.save_tracks(self.tracks.changed().values())
        if events:
            self._warn.take(events, self.tracks, now_ms)
        self.station.done()
        self.judging.done()

    def _work(self, items: Sequence[RawReading | Refused | None], now_ms: int) -> Outcome:
        self.begin()
        plan = self._plan()
        raws, refused = _sorted(items, now_ms)
        checked = self.station.check(raws, plan, now_ms - round(plan.settings.late_after_s * 1000))
        accepted = self._keep(checked, plan, now_ms)
        events: list[AlertEvent] = []
        for reading in checked.heard:
            channel = plan.channel(reading.probe, reading.quantity)
            if channel.tank is not None and not (reading.derived and channel.care is None):
                self.judging.judge(reading, channel, reading.arrival is not Arrival.IN_TIME, events)
                if self.also is not None and reading.arrival is Arrival.IN_TIME:
                    self.also(reading, channel, events)
        self.finish(events, now_ms)
        if final := sum(not one.later for one in refused):
            self._store.state.count_up({"refused": final})
        return Outcome(accepted, len(raws) - accepted, tuple(refused))

    def _keep(self, checked: Checked, plan: RoomPlan, now_ms: int) -> int:
        """Keep a pack; how many of its own readings were new."""
        whole = [*checked.readings, *checked.behind]
        new = self._store.readings.append(whole)
        if checked.revisions:
            self._store.revisions.revise(list(checked.revisions.values()))
        behind: dict[tuple[str, Quantity], list[CheckedReading]] = {}
        for is_new, reading in zip(new, whole, strict=True):
            if is_new and reading.arrival is Arrival.WAITING:
                behind.setdefault((reading.probe, reading.quantity), []).append(reading)
        for key, readings in behind.items():
            times = [reading.time_ms for reading in readings]
            limits = plan.channel(*key).limits
            # it is the neighbour of one before it, and the past of those after it
            start_ms = min(times) - round((limits.gap_s or 0.0) * 1000)
            end_ms = max(times) + 1 + round(limits.past_s * 1000)
            # ... and the next one, however late, says how long the silence before it was
            next_ms = self._store.past.after(*key, max(times) + 1)
            self._store.revisions.wait(*key, LATE, start_ms, max(end_ms, (next_ms or 0) + 1), now_ms)
        for (key, why), span in checked.waits.items():
            self._store.revisions.wait(*key, why, *span, now_ms)
        return sum(is_new for is_new, reading in zip(new, whole, strict=True) if not reading.derived)


def _sorted(items: Sequence[RawReading | Refused | None], now_ms: int) -> tuple[list[RawReading], list[Refused]]:
    """A pack's readings in the order of time, temperatures first; and what is refused, in the order of the pack."""
    refused: list[Refused] = []
    raws: list[RawReading] = []
    for index, item in enumerate(items):
        if isinstance(item, Refused):
            refused.append(item)
        elif item is not None:
            reason = refuse_time(item.time_ms, now_ms)
            if reason:
                # whose clock is wrong is not known here: one that is set right later takes the reading then
                refused.append(Refused(index, reason, later=item.time_ms > now_ms))
            else:
                raws.append(item)
    raws.sort(key=lambda raw: (raw.time_ms, raw.quantity is not Quantity.TEMPERATURE))
    return raws, refused


def refuse_time(time_ms: int, now_ms: int) -> str:
    """Why a time cannot be a reading's; empty when it can."""
    if time_ms < EARLIEST_MS:
        return "its time is before 2000: set the collector's clock (its readings before that cannot be dated)"
    if time_ms > now_ms + AHEAD_MS:
        return f"its time is {(time_ms - now_ms) / 1000:.0f} s ahead of the service's clock: compare the two clocks"
    return ""
