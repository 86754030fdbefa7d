"""Recorded readings judged on their own time, column by column: by the care range then in force, as found late.

What ``again.py`` does with rows that came late, one by one. Must not do: forecast, or page anyone for the past.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from api.domain.alert import AlertEvent, Subject
from api.domain.band import Side
from api.domain.reading import Flag
from api.judge.alert_cycle import Delays, Track
from api.judge.past_cycle import INSIDE, OUTSIDE, Samples, back_inside, looks, run
from api.judge.samples import NOT_KNOWN_DELAYS
from api.science.arrays import Bools
from api.services.changes_late import ChangesLate
from api.services.judging import Judging
from api.services.past import Past, of_the_past
from api.services.past_rows import Key
from api.services.plan import ChannelPlan, RoomPlan
from api.storage.base import Store
from api.storage.past_base import Columns


class PastJudging:
    """Judges columns; runs in the writer, inside a piece of work."""

    def __init__(self, store: Store, judging: Judging) -> None:
        self._past, self._judging = Past(store), judging
        self.changes = ChangesLate(store, judging)

    def judge(self, key: Key, rows: Columns, plan: RoomPlan, events: list[AlertEvent]) -> None:
        """Rows of one channel, later than those judged before."""
        channel = plan.channel(*key)
        if channel.tank is None or not len(rows.times_ms):
            return
        told = self._told(channel, rows)
        past = of_the_past(channel)
        happened: list[AlertEvent] = []
        for start, end, then in _by_care(past, key, rows, plan):
            which = np.arange(start, end)[~told[start:end]]
            self._segment(then, rows, which, happened)
        self.changes.judge(key, int(rows.times_ms[0]), int(rows.times_ms[-1]), channel, plan, happened)
        happened.sort(key=lambda event: event.time_ms)
        events.extend(happened)

    def _told(self, channel: ChannelPlan, rows: Columns) -> Bools:
        """Rows of times at which an alert of this channel stood, told when it was news."""
        told = np.zeros(len(rows.times_ms), dtype=bool)
        first_ms, last_ms = int(rows.times_ms[0]), int(rows.times_ms[-1])
        for start_ms, end_ms in self._past.stood(channel, first_ms, last_ms):
            told |= (rows.times_ms >= start_ms) & (rows.times_ms <= (last_ms if end_ms is None else end_ms))
        return told

    def _segment(self, channel: ChannelPlan, rows: Columns, which: NDArray[np.int64], events: list[AlertEvent]) -> None:
        """Rows while one care range was in force."""
        if not len(which):
            return
        times_ms, values, flags = rows.times_ms[which], rows.values[which], rows.flags[which]
        usable = np.isfinite(values) & (flags <= Flag.SUSPECT)
        nothing = np.full(len(which), np.nan)
        unknown = Samples(
            times_ms,
            np.where(usable, INSIDE, OUTSIDE).astype(np.int8),
            np.where(usable, np.nan, rows.raws[which]),
            nothing,
            np.ones(len(which), dtype=bool),
        )
        self._run(channel.not_known, unknown, NOT_KNOWN_DELAYS, events)
        if channel.care is None or channel.delays is None or not usable.any():
            return
        places, times_ms, values = which[usable], times_ms[usable], values[usable]
        plain = flags[usable] < Flag.SUSPECT
        levels, sides, limits = looks(values, channel.care)
        for subject, side in channel.kinds:
            mine = sides == (-1 if side is Side.LOW else 1) if side is not None else sides != 0
            if not mine.any() and self._idle(subject):
                continue
            samples = Samples(
                times_ms,
                np.where(mine, levels, INSIDE).astype(np.int8),
                values,
                np.where(mine, limits, np.nan),
                plain & back_inside(values, side, channel.care),
                lambda place, plain=plain, places=places: (  # type: ignore[misc]
                    "" if plain[place] else rows.reasons.get(int(places[place]), "")
                ),
            )
            self._run(subject, samples, channel.delays, events)

    def _idle(self, subject: Subject) -> bool:
        track = self._judging.tracks.get(subject)
        return track is None or track.idle

    def _run(self, subject: Subject, samples: Samples, delays: Delays, events: list[AlertEvent]) -> None:
        track = self._judging.tracks.get(subject) or Track(subject)
        after, happened = run(track, samples, delays)
        if after is not track:
            self._judging.tracks.put(subject, after)
        events.extend(happened)

    def goes_back(self, key: Key, first_ms: int, plan: RoomPlan) -> bool:
        """Whether an alert of this past stands by later readings than the first of these."""
        channel = of_the_past(plan.channel(*key))
        subjects = (channel.not_known, *(subject for subject, _ in channel.kinds))
        tracks = [self._judging.tracks.get(subject) for subject in subjects]
        if any(track is not None and track.last_ms >= first_ms for track in tracks):
            return True
        return self.changes.goes_back(key, first_ms, plan.channel(*key))

    def end(self, key: Key, plan: RoomPlan, events: list[AlertEvent]) -> None:
        """No more readings of this past will come; what comes next may be older."""
        channel = of_the_past(plan.channel(*key))
        self._judging.end_past(channel, events)
        self.changes.end(key, plan.channel(*key), events)
        for subject in (channel.not_known, *(subject for subject, _ in channel.kinds)):
            if self._judging.tracks.get(subject) is not None:
                self._judging.tracks.put(subject, replace(Track(subject), last_ms=-1))


def _by_care(past: ChannelPlan, key: Key, rows: Columns, plan: RoomPlan) -> list[tuple[int, int, ChannelPlan]]:
    """Places from and to, and the channel with the care range in force there."""
    times_ms = rows.times_ms
    changes_ms = plan.moments_ms(past.tank.id) if past.tank is not None else ()
    inside = [moment_ms for moment_ms in changes_ms if times_ms[0] < moment_ms <= times_ms[-1]]
    starts = [0, *np.searchsorted(times_ms, np.array(inside, np.int64)).tolist()]
    return [
        (start, end, plan.in_force(past, key[1], int(times_ms[start])))
        for start, end in zip(starts, [*starts[1:], len(times_ms)], strict=True)
        if start < end
    ]
