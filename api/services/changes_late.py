"""Changes that were too fast in readings that came late, in imports and in rehearsals, on the readings' own time.

Runs in the writer. Must not do: tell again what was told when it was news.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import pairwise

import numpy as np

from api.domain.alert import AlertEvent, AlertKind, Subject
from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag
from api.judge.alert_cycle import Sample, Track
from api.judge.alert_cycle import end as ended
from api.judge.change import DAY_MS, SPANS_MS, look
from api.judge.change_watch import STEP_MS, STEPWISE, ChangeWatch, before, changes_over, limits_of, stretches
from api.judge.samples import usable
from api.services.ingest import EARLIEST_MS
from api.services.judging import Judging
from api.services.plan import ChannelPlan, RoomPlan
from api.services.recording import CheckedRecording
from api.storage.base import Store

Key = tuple[str, Quantity]


class ChangesLate:
    """Looks over what came late, from the summaries that are kept of it."""

    def __init__(self, store: Store, judging: Judging) -> None:
        self._store, self._judging = store, judging
        self._done_ms: dict[Key, int] = {}
        """Up to where each channel of a record was gone through: it comes in pieces."""

    def judge(
        self, key: Key, first_ms: int, last_ms: int, channel: ChannelPlan, plan: RoomPlan, events: list[AlertEvent]
    ) -> None:
        """Readings from a time to another came late; what was before them is known."""
        if channel.tank is None or not limits_of(channel.care):
            return
        begin_ms = (first_ms - DAY_MS) // STEP_MS * STEP_MS - 3 * STEP_MS
        spans = self._store.readings.kept_spans(*key, begin_ms, last_ms + 1, STEP_MS // 1000)
        # the span at a piece's end may not be whole: the next piece has it
        whole = [(one[0], one[1], one[2]) for one in spans if one[1] and one[0] + STEP_MS <= last_ms + 1]
        table = np.array(whole, np.float64).reshape(-1, 3)
        times, means = table[:, 0].astype(np.int64) + STEP_MS // 2, table[:, 2] / table[:, 1]
        told = {kind: self._told(change_subject(channel, key, kind), first_ms, last_ms) for kind in SPANS_MS}
        done_ms = self._done_ms.get(key, -1)
        start_ms = done_ms + 1 if first_ms - DAY_MS < done_ms < first_ms else first_ms - STEP_MS
        self._done_ms[key] = int(times[-1]) if times.size else done_ms
        for from_ms, to_ms, then in _in_force(channel, key[1], start_ms, last_ms, plan):
            inside = times < to_ms
            asked = limits_of(then.care)
            for kind, sample in changes_over(times[inside], means[inside], asked, key[1], from_ms):
                if not told[kind](sample.time_ms):
                    past = replace(change_subject(channel, key, kind), past=True)
                    self._judging.take(past, replace(sample, late=True), STEPWISE, events)

    def done_ms(self, key: Key) -> int:
        """Up to where a channel was gone through; -1: it was not."""
        return self._done_ms.get(key, -1)

    def go_on(self, key: Key, done_ms: int) -> None:
        """A channel was gone through up to a time before this process began."""
        self._done_ms[key] = done_ms

    def end(self, key: Key, channel: ChannelPlan, events: list[AlertEvent]) -> None:
        """No more readings of the past will come: what stands there ended with the last of them."""
        self._done_ms.pop(key, None)
        for track in self._tracks(key, channel):
            if not track.idle:
                _, happened = ended(track)
                events.extend(happened)
            # what comes next may be older
            self._judging.tracks.put(track.subject, replace(Track(track.subject), last_ms=-1))

    def goes_back(self, key: Key, first_ms: int, channel: ChannelPlan) -> bool:
        """Whether an alert of this past stands by later readings than the first of these."""
        return any(track.last_ms >= first_ms for track in self._tracks(key, channel))

    def _tracks(self, key: Key, channel: ChannelPlan) -> list[Track]:
        subjects = (replace(change_subject(channel, key, kind), past=True) for kind in SPANS_MS)
        return [track for track in map(self._judging.tracks.get, subjects) if track is not None]

    def _told(self, subject: Subject, first_ms: int, last_ms: int) -> Callable[[int], bool]:
        stood = self._store.state.stood(subject.key, first_ms, last_ms + 1)
        return lambda time_ms: any(start <= time_ms and (over is None or time_ms <= over) for start, over in stood)


def change_subject(channel: ChannelPlan, key: Key, kind: AlertKind) -> Subject:
    return Subject(channel.tank.id if channel.tank is not None else None, kind, *key)


def _in_force(
    channel: ChannelPlan, quantity: Quantity, first_ms: int, last_ms: int, plan: RoomPlan
) -> Iterator[tuple[int, int, ChannelPlan]]:
    """Stretches of a time and the channel as it was judged then; care ranges change where somebody changed them."""
    changed = plan.moments_ms(channel.tank.id) if channel.tank is not None else ()
    edges = [first_ms, *(at for at in changed if first_ms < at <= last_ms), last_ms + STEP_MS]
    for from_ms, to_ms in pairwise(edges):
        yield from_ms, to_ms, plan.in_force(channel, quantity, from_ms)


def stepwise(checked: CheckedRecording) -> dict[int, list[tuple[AlertKind, Sample]]]:
    """What ``ChangesStepwise`` would take of a whole recording, by the place of the reading that leads to it.

    Stretches in which no change can be too large are passed over: they would change nothing.
    """
    found: dict[int, list[tuple[AlertKind, Sample]]] = {}
    recording = checked.recording
    usable_at = np.flatnonzero(
        (checked.flags <= Flag.SUSPECT) & np.isfinite(checked.values) & (recording.times_ms >= EARLIEST_MS)
    )
    if not usable_at.size or not limits_of(checked.channel.care):
        return found
    times_ms, values = recording.times_ms[usable_at], checked.values[usable_at]
    cells = times_ms // STEP_MS
    firsts = np.flatnonzero(np.diff(cells, prepend=cells[0] - 1))
    ends = np.append(firsts[1:], cells.size)
    means = np.add.reduceat(values, firsts) / (ends - firsts)
    middles = cells[firsts] * STEP_MS + STEP_MS // 2
    for kind, allowed in limits_of(checked.channel.care):
        for first, end in stretches(middles, means, SPANS_MS[kind], allowed):
            watch, begin = ChangeWatch(kind), int(firsts[before(middles, first, SPANS_MS[kind])])
            # the span is closed by the first reading after it
            for place in range(begin, min(int(ends[end - 1]) + 1, cells.size)):
                change = watch.take(int(times_ms[place]), float(values[place]))
                if change is not None and change.time_ms >= middles[first]:
                    sample = look(kind, change, allowed, recording.quantity, int(times_ms[place]))
                    found.setdefault(int(usable_at[place]), []).append((kind, sample))
    return found


class ChangesStepwise:
    """Follows every channel reading by reading, for a rehearsal, which nobody looks at on the clock."""

    def __init__(self, judging: Judging) -> None:
        self._judging = judging
        self._watches: dict[tuple[Key, AlertKind], ChangeWatch] = {}

    def hear(self, reading: CheckedReading, channel: ChannelPlan, events: list[AlertEvent]) -> None:
        """A reading that came in time."""
        if reading.derived or reading.value is None or channel.tank is None or not usable(reading):
            return
        key = (reading.probe, reading.quantity)
        for kind, allowed in limits_of(channel.care):
            watch = self._watches.get((key, kind)) or self._watches.setdefault((key, kind), ChangeWatch(kind))
            change = watch.take(reading.time_ms, reading.value)
            if change is not None:
                sample = look(kind, change, allowed, reading.quantity, reading.time_ms)
                self._judging.take(change_subject(channel, key, kind), sample, STEPWISE, events)
