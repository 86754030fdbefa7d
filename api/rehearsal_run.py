"""A rehearsal of a whole recording: what can change nothing but a forecast goes past the alerts, the rest through them.

The same parts as reading by reading (``rehearsal.py``) with the same results; only looks and samples that are known to
change nothing are left out. Must not do: judge by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field

import numpy as np

from api.domain.alert import AlertEvent, AlertKind
from api.domain.quantity import Quantity
from api.domain.tank import Probe
from api.judge.alert_cycle import Sample
from api.judge.change_watch import STEPWISE
from api.judge.natures import NATURES
from api.judge.samples import usable
from api.judge.tank_watch import TankWatch
from api.rehearsal import Rehearsal, Told
from api.rehearsal_store import LazyStore
from api.services.changes_late import change_subject, stepwise
from api.services.ingest import EARLIEST_MS
from api.services.plan import RoomPlan
from api.services.recording import CheckedRecording, Recording, packs, straight

ROWS_TOGETHER = 20_000
Row = tuple[int, int, int, float, bool]
"""Time, number of the channel, place in its recording, value, whether it is calm."""


@dataclass(slots=True)
class Line:
    """A channel on its way. ``at_rest``: calm readings concern only ``watch``."""

    checked: CheckedRecording
    watch: TankWatch | None = None
    at_rest: bool = False
    heard_ms: int = -1
    changes: dict[int, list[tuple[AlertKind, Sample]]] = field(default_factory=dict)


class RehearsalRun(Rehearsal):
    """Goes through recordings of straight channels, see ``services/recording.py``."""

    def __init__(
        self, plan: RoomPlan, begin_ms: int, recorded: Sequence[Recording], look_every_s: float = 60.0
    ) -> None:
        super().__init__(plan, begin_ms, look_every_s, LazyStore())
        self._lines = [
            Line(checked, changes=stepwise(checked))
            for one in recorded
            if (channel := plan.channel(one.probe, one.quantity)).tank is not None
            for checked in [CheckedRecording(one, channel)]
        ]
        self._by_key = {line.checked.key: line for line in self._lines}
        self._of_probe = {name: [x for x in self._lines if x.checked.key[0] == name] for name in plan.probes}
        if isinstance(self.store, LazyStore):
            self.store.give({line.checked.key: line.checked for line in self._lines})
        self._events: list[AlertEvent] = []
        self._unsettled = False
        self._measured = {
            probe.id: [self._by_key[key] for v in probe.values if (key := (probe.id, v.quantity)) in self._by_key]
            for probe in plan.probes.values()
        }

    def run(self, end_ms: int, done: Callable[[int], object] = lambda count: None) -> list[Told]:
        """Everything told until a time. ``done`` hears now and then how many readings were gone through."""
        told: list[Told] = []
        for rows in self._rows(end_ms):
            self._go(rows)
            done(len(rows))
            told += self._taken()
        self._tell()
        self._wait_until(end_ms)
        return told + self._taken()

    def _rows(self, end_ms: int) -> Iterator[list[Row]]:
        """All readings in the order the line takes them: by time, temperatures first."""
        if not self._lines:
            return
        recorded = [line.checked.recording for line in self._lines]
        times = np.concatenate([one.times_ms for one in recorded])
        places = np.concatenate([one.places for one in recorded])
        number = np.repeat(np.arange(len(recorded)), [len(one.times_ms) for one in recorded])
        later = np.array([one.quantity is not Quantity.TEMPERATURE for one in recorded])[number]
        order = np.lexsort((places, later, times))
        order = order[(times[order] >= EARLIEST_MS) & (times[order] <= end_ms)]
        own = np.concatenate([np.arange(len(one.times_ms)) for one in recorded])
        values = np.concatenate([line.checked.values for line in self._lines])
        calm = np.concatenate([line.checked.calm for line in self._lines])
        for start in range(0, len(order), ROWS_TOGETHER):
            some = order[start : start + ROWS_TOGETHER]
            yield list(
                zip(*(one[some].tolist() for one in (times, number, own, values, calm)), strict=True)
            )  # fmt: skip

    def _go(self, rows: list[Row]) -> None:
        lines, calm_of, events, now_ms = self._lines, self.ingest.judging.calm, self._events, self.now_ms
        look_ms = self._looked_ms + self._step_ms
        for time_ms, number, at, value, calm in rows:
            if time_ms != now_ms:
                if self._unsettled or events:
                    self._tell()
                if time_ms >= look_ms:
                    self._wait_until(time_ms)
                    look_ms = self._looked_ms + self._step_ms
                self.now_ms = now_ms = time_ms
            line = lines[number]
            line.heard_ms = time_ms
            if calm and line.at_rest and line.watch is not None:
                checked = line.checked
                if not calm_of(line.watch, checked.key, time_ms, value, checked.channel, events):
                    self._weigh(line, at, heard=True)
            else:
                self._weigh(line, at, heard=False)
            if at in line.changes:
                self._change(line, at)

    def _weigh(self, line: Line, at: int, *, heard: bool) -> None:
        """The whole of a reading's judgement; ``heard``: its forecast knows of it already."""
        judging, checked = self.ingest.judging, line.checked
        self._put_time()
        reading = checked.reading(at)
        if heard:
            judging.weigh(reading, checked.channel, usable(reading), line.watch, False, self._events)
        else:
            judging.judge(reading, checked.channel, False, self._events)
        self._unsettled = True
        tank = checked.channel.tank
        watch = judging.outlooks.tank(tank.id if tank is not None else None)
        if watch is not None and (checked.key in watch.channels or checked.key[1] not in NATURES):
            line.watch = watch
        for other in self._of_probe.get(checked.key[0], [line]):
            other.at_rest = judging.at_rest(other.watch, other.checked.key, other.checked.channel)

    def _change(self, line: Line, at: int) -> None:
        """How much the water has changed within an hour and a day, where that may matter."""
        checked = line.checked
        for kind, sample in line.changes[at]:
            subject = change_subject(checked.channel, checked.key, kind)
            self.ingest.judging.take(subject, sample, STEPWISE, self._events)
        self._unsettled = True

    def _put_time(self) -> None:
        if isinstance(self.store, LazyStore):
            self.store.up_to_ms = self.now_ms

    def _tell(self) -> None:
        """The end of what came at one moment: its events are put on record and told."""
        events, ingest = self._events, self.ingest
        if events:
            self._put_time()
            some = list(events)
            events.clear()
            self.store.write(lambda: self._warn.take(some, ingest.tracks, self.now_ms)).result()
        ingest.judging.done()
        ingest.judging.settle(True)
        self._unsettled = False

    def _wait_until(self, time_ms: int) -> None:
        """Time goes on; looks for silence are made where one may find something, the others count as made."""
        while self._looked_ms + self._step_ms <= time_ms:
            self._looked_ms += self._step_ms
            self.now_ms = max(self.now_ms, self._looked_ms)
            safe_ms = self._looks.nothing_until(self._looked_ms)
            if safe_ms < self._looked_ms:
                self._look()
            else:
                self._looked_ms += (safe_ms - self._looked_ms) // self._step_ms * self._step_ms
        self.now_ms = max(self.now_ms, time_ms)

    def _look(self) -> None:
        self._put_time()
        newest = self.ingest.newest.settled
        for line in self._lines:
            if line.heard_ms >= 0:
                newest[line.checked.key] = line.heard_ms
        self._watch.look()

    def _spoke_ms(self, probe: Probe) -> int:
        """When a probe last spoke, or when the rehearsal began."""
        heard = [line.heard_ms for line in self._measured[probe.id]]
        return max(heard) if heard and max(heard) >= 0 else self._watch.since_ms


def rehearsed(
    plan: RoomPlan, recorded: Sequence[Recording], end_ms: int, done: Callable[[int], object] = lambda count: None
) -> list[Told]:
    """Everything told of recordings, each reading coming when it was made, until a time.

    ``done`` hears now and then of how many readings more were gone through.
    """
    first_ms = min((int(one.times_ms[0]) for one in recorded), default=end_ms + 1)
    if all(straight(one, plan) for one in recorded):
        with closing(RehearsalRun(plan, first_ms - 1, recorded)) as run:
            return run.run(end_ms, done)
    told: list[Told] = []
    with closing(Rehearsal(plan, first_ms - 1)) as one:
        for time_ms, pack in packs(recorded):
            told += one.take(pack, time_ms)
            done(len(pack))
        return told + one.advance(end_ms)
