"""A rehearsal of a whole recording: what can change nothing but a forecast goes past the alerts, the rest through them.

The same parts as reading by reading (``stepwise.py``) with the same results; only looks and samples that are known to
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
from api.judge.calm_run import CHANGE, JUDGE, LOOK, Rows
from api.judge.change_watch import STEPWISE
from api.judge.natures import NATURES
from api.judge.samples import usable
from api.judge.tank_watch import TankWatch
from api.rehearsal.calm import CalmStretches
from api.rehearsal.compiled import Run, compiled_run, is_kept
from api.rehearsal.stepwise import Rehearsal, Told
from api.rehearsal.store import LazyStore
from api.science.arrays import Bools, Ints
from api.services.changes_late import change_subject, stepwise
from api.services.ingest import EARLIEST_MS
from api.services.plan import RoomPlan
from api.services.recording import CheckedRecording, Recording, packs
from api.services.recording import checked as checked_of
from api.services.recording_derived import DerivedRecording, judged_derived, with_derived

ROWS_TOGETHER = 20_000
COMPILED_FROM, COMPILED_ANEW_FROM = 100_000, 500_000
"""Fewer readings are gone through before the calm run is loaded, or compiled."""


@dataclass(slots=True)
class Line:
    """A channel on its way. ``at_rest``: calm readings concern only ``watch``."""

    checked: CheckedRecording
    watch: TankWatch | None = None
    at_rest: bool = False
    changes: dict[int, list[tuple[AlertKind, Sample]]] = field(default_factory=dict)

    @property
    def changing(self) -> Bools:
        """Which readings lead to a look at how much the water has changed."""
        out = np.zeros(len(self.checked.values), dtype=bool)
        out[list(self.changes)] = True
        return out


class RehearsalRun(Rehearsal):
    """Goes through recordings, see ``services/recording.py``."""

    def __init__(self, plan: RoomPlan, begin_ms: int, recorded: Sequence[Recording], run: Run | None = None) -> None:
        """``run``: goes through calm stretches, where there is one."""
        super().__init__(plan, begin_ms, store=LazyStore())
        self._lines = [
            Line(one) if isinstance(one, DerivedRecording) else Line(one, changes=stepwise(one))
            for one in with_derived(checked_of(recorded, plan, EARLIEST_MS), plan)
        ]
        checked = [line.checked for line in self._lines]
        self._of_probe = {name: [x for x in self._lines if x.checked.key[0] == name] for name in plan.probes}
        self._calm = CalmStretches(checked, self.ingest.judging, run) if run is not None else None
        self._heard_ms = self._calm.memory.heard_ms if self._calm is not None else np.full(len(checked), -1)
        if isinstance(self.store, LazyStore):
            self.store.give({one.key: one for one in checked})
        self._events: list[AlertEvent] = []
        self._unsettled = False
        self._measured = {name: [at for at, one in enumerate(checked) if one.key[0] == name] for name in plan.probes}

    def run(self, end_ms: int, done: Callable[[int], object] = lambda count: None) -> list[Told]:
        """Everything told until a time. ``done`` hears now and then how many readings were gone through."""
        told: list[Told] = []
        self._looks.know(lambda probe: self._spoken_ms(probe, end_ms))
        for rows, places in self._rows(end_ms):
            self._go(rows, places)
            done(len(places))
            told += self._taken()
        self._tell()
        if self._calm is not None:
            self._calm.end()
        self._wait_until(end_ms)
        return told + self._taken()

    def _rows(self, end_ms: int) -> Iterator[tuple[Rows, Ints]]:
        """All readings in the order the line takes them: by time, temperatures first; and their places in their
        recordings.
        """
        if not self._lines:
            return
        checked = [line.checked for line in self._lines]
        times = np.concatenate([one.recording.times_ms for one in checked])
        places = np.concatenate([one.recording.places for one in checked])
        number = np.repeat(np.arange(len(checked)), [len(one.values) for one in checked])
        later = np.array([one.recording.quantity is not Quantity.TEMPERATURE for one in checked])[number]
        order = np.lexsort((places, later, times))
        order = order[(times[order] >= EARLIEST_MS) & (times[order] <= end_ms)]
        own = np.concatenate([np.arange(len(one.values)) for one in checked])
        values = np.concatenate([one.values for one in checked])
        calm = np.concatenate([one.calm for one in checked])
        changes = np.concatenate([line.changing for line in self._lines])
        for start in range(0, len(order), ROWS_TOGETHER):
            some = order[start : start + ROWS_TOGETHER]
            yield Rows(times[some], number[some], values[some], calm[some], changes[some]), own[some]

    def _go(self, rows: Rows, places: Ints) -> None:
        """Rows one after the other; where nothing can come up the calm run goes ahead, if there is one."""
        at, end = 0, len(places)
        times, numbers, values, calm, _ = (one.tolist() for one in rows)
        own = places.tolist()
        while at < end:
            why = JUDGE
            if times[at] != self.now_ms:
                self._moment(times[at])
            if self._calm is not None and self._calm.lent(numbers[at], self.now_ms, self._at_rest):
                begun, stop_ms = at, self._looked_ms + self._step_ms
                if self._unsettled:  # what there is of one moment is settled together
                    stop_ms = min(stop_ms, self.now_ms + 1)
                at, why = self._calm.go(rows, at, stop_ms)
                if at > begun:
                    self.now_ms = times[at - 1]
                if at == end or (why == JUDGE and times[at] >= stop_ms):
                    continue
                if times[at] != self.now_ms:
                    self._moment(times[at])
            line = self._lines[numbers[at]]
            if self._calm is not None and why != CHANGE:
                self._calm.give_back(numbers[at])
            if why != CHANGE:
                self._heard_ms[numbers[at]] = self.now_ms
                self._row(line, own[at], values[at], calm[at], why == LOOK)
            if own[at] in line.changes:
                self._change(line, own[at])
            at += 1

    def _at_rest(self, number: int) -> bool:
        line = self._lines[number]
        return line.at_rest and line.watch is not None

    def _moment(self, time_ms: int) -> None:
        """The next moment comes: what was there is settled, and looks for silence are made."""
        if self._unsettled or self._events:
            self._tell()
        if time_ms >= self._looked_ms + self._step_ms:
            self._wait_until(time_ms)
        self.now_ms = time_ms

    def _row(self, line: Line, at: int, value: float, calm: bool, heard: bool) -> None:
        """One reading; ``heard``: its forecast knows of it already, and what that leads to has to be looked at."""
        checked, judging, watch = line.checked, self.ingest.judging, line.watch
        if not (calm and line.at_rest) or watch is None:
            self._weigh(line, at, heard=False)
            return
        if heard:
            watch.look(checked.key, checked.channel.care)
            fine = judging.looked(watch, checked.key, self.now_ms, checked.channel, self._events)
        else:
            fine = judging.calm(watch, checked.key, self.now_ms, value, checked.channel, self._events)
        if not fine:
            self._weigh(line, at, heard=True)

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
        for line, heard_ms in zip(self._lines, self._heard_ms.tolist(), strict=True):
            if heard_ms >= 0:
                newest[line.checked.key] = heard_ms
        self._watch.look()

    def _spoken_ms(self, probe: Probe, end_ms: int) -> Ints:
        """When the rehearsal begins, and when a probe speaks until its end."""
        own = [self._lines[at].checked.recording.times_ms for at in self._measured[probe.id]]
        spoken = [times_ms[(times_ms >= EARLIEST_MS) & (times_ms <= end_ms)] for times_ms in own]
        return np.sort(np.concatenate([np.array([self._watch.since_ms]), *spoken]), kind="stable")

    def _spoke_ms(self, probe: Probe) -> int:
        """When a probe last spoke, or when the rehearsal began."""
        heard_ms = max((int(self._heard_ms[at]) for at in self._measured[probe.id]), default=-1)
        return heard_ms if heard_ms >= 0 else self._watch.since_ms


def by_columns(plan: RoomPlan, recorded: Sequence[Recording]) -> bool:
    """Whether a recording's columns can be checked at once: nothing that is judged leans on a pressure that changes."""
    pressure = any(one.quantity is Quantity.PRESSURE for one in recorded)
    return not pressure or not any(judged_derived((one.probe, one.quantity), plan) for one in recorded)


def rehearsed(
    plan: RoomPlan, recorded: Sequence[Recording], end_ms: int, done: Callable[[int], object] = lambda count: None
) -> list[Told]:
    """Everything told of recordings, each reading coming when it was made, until a time.

    ``done`` hears now and then of how many readings more were gone through.
    """
    first_ms = min((int(one.times_ms[0]) for one in recorded), default=end_ms + 1)
    if by_columns(plan, recorded):
        worth = sum(len(one.times_ms) for one in recorded) >= (COMPILED_FROM if is_kept() else COMPILED_ANEW_FROM)
        with closing(RehearsalRun(plan, first_ms - 1, recorded, compiled_run() if worth else None)) as run:
            return run.run(end_ms, done)
    told: list[Told] = []
    with closing(Rehearsal(plan, first_ms - 1)) as one:
        for time_ms, pack in packs(recorded):
            told += one.take(pack, time_ms)
            done(len(pack))
        return told + one.advance(end_ms)
