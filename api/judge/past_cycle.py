"""The life of one alert over recorded samples: what ``alert_cycle.step`` does sample by sample, by runs of equal ones.

While nothing stands, samples that are inside change nothing; while an alert stands, further samples of the same kind
only bring its record up to date. Both are passed over at once. Must not do: decide anything ``alert_cycle`` decides.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from api.domain.alert import AlertEvent, Priority
from api.domain.band import Side
from api.domain.care import CareRange
from api.judge.alert_cycle import STANDING, Delays, Sample, Track, step
from api.science.arrays import Bools, Floats, Ints

Codes = NDArray[np.int8]
LEVEL_OF = (None, Priority.TODAY, Priority.URGENT)
INSIDE, OUTSIDE, DANGER = range(3)
NO_DOUBT: Callable[[int], str] = lambda place: ""  # noqa: E731 - one expression


@dataclass(frozen=True, slots=True)
class Samples:
    """Looks at one subject in rising time: level (0 inside, 1 outside, 2 danger), value, limit (NaN: none), back.

    ``limited``: the value is told beside a limit; ``doubt`` is asked for a place only where it may be told.
    """

    times_ms: Ints
    levels: Codes
    values: Floats
    limits: Floats
    back: Bools
    doubt: Callable[[int], str] = NO_DOUBT

    def at(self, place: int) -> Sample:
        """One of them, as ``step`` takes it; all are old news."""
        level = LEVEL_OF[self.levels[place]]
        value, limit = float(self.values[place]), float(self.limits[place])
        return Sample(
            int(self.times_ms[place]),
            level,
            None if value != value else value,
            None if limit != limit else limit,
            back=bool(self.back[place]),
            late=True,
            doubt=self.doubt(place),
        )


def run(track: Track, samples: Samples, delays: Delays) -> tuple[Track, list[AlertEvent]]:
    """Take all samples; the track and the events ``step`` would have given."""
    events: list[AlertEvent] = []
    count = len(samples.times_ms)
    beyond = np.flatnonzero(samples.levels != INSIDE)
    if track.idle and not len(beyond):
        return track, events
    ends = _run_ends(samples)
    place = int(np.searchsorted(samples.times_ms, track.last_ms, side="right"))
    while place < count:
        if track.idle:
            next_beyond = int(np.searchsorted(beyond, place))
            if next_beyond == len(beyond):
                break
            place = int(beyond[next_beyond])
        track, happened = step(track, samples.at(place), delays)
        events.extend(happened)
        last = int(ends[place])
        if last > place and _changes_nothing_more(track, int(samples.levels[place]), bool(samples.back[place])):
            track = _passed(track, samples, place + 1, last)
            place = last
        place += 1
    return track, events


def _run_ends(samples: Samples) -> Ints:
    """For each place the last one of its run of samples of one kind."""
    levels, back, limits = samples.levels, samples.back, samples.limits
    differs = (levels[1:] != levels[:-1]) | (back[1:] != back[:-1])
    differs |= (limits[1:] != limits[:-1]) & ~(np.isnan(limits[1:]) & np.isnan(limits[:-1]))
    lasts = np.r_[np.flatnonzero(differs), len(levels) - 1]
    ends: Ints = lasts[np.searchsorted(lasts, np.arange(len(levels)))]
    return ends


def _changes_nothing_more(track: Track, level: int, back: bool) -> bool:
    """Whether more samples of one kind can neither raise, worsen nor end what stands."""
    if track.state not in STANDING or track.told:
        return False
    if level == INSIDE:
        return not back
    return track.level is Priority.URGENT or (level == OUTSIDE and track.level is Priority.TODAY)


def _passed(track: Track, samples: Samples, first: int, last: int) -> Track:
    """The track after samples that only bring it up to date, from the first to the last one."""
    count, level = last - first + 1, int(samples.levels[first])
    track = replace(track, last_ms=int(samples.times_ms[last]))
    if level == INSIDE:
        return track
    danger = count if level == DANGER else 0
    track = replace(
        track,
        beyond_readings=track.beyond_readings + count,
        danger_readings=track.danger_readings + danger if danger else 0,
    )
    values, limit = samples.values[first : last + 1], float(samples.limits[first])
    if np.isnan(values).any():
        return track
    if limit != limit or track.worst is None:
        return replace(track, worst=float(values[-1]))
    low = values < limit
    worst = track.worst
    if low.any():
        worst = min(worst, float(values[low].min()))
    if not low.all():
        worst = max(worst, float(values[~low].max()))
    return replace(track, worst=worst)


def looks(values: Floats, care: CareRange) -> tuple[Codes, Codes, Floats]:
    """Level, side (-1 low, 1 high, 0 within) and limit (NaN: none) of usable values, as ``assess`` finds them."""
    levels, sides = np.zeros(len(values), np.int8), np.zeros(len(values), np.int8)
    limits = np.full(len(values), np.nan)
    # The outer limits last, and low above high, so that what assess asks first has the last word.
    for limit, side, level in (
        (care.tolerable_high, 1, OUTSIDE),
        (care.tolerable_low, -1, OUTSIDE),
        (care.danger_high, 1, DANGER),
        (care.danger_low, -1, DANGER),
    ):
        if limit is not None:
            which = values > limit if side > 0 else values < limit
            levels[which], sides[which], limits[which] = level, side, limit
    return levels, sides, limits


def back_inside(values: Floats, side: Side | None, care: CareRange) -> Bools:
    """Where a value is inside the limit that begins an alert by at least the deadband."""
    inside = np.isfinite(values)
    if side is not Side.HIGH and care.alert_low is not None:
        inside &= values >= care.alert_low + care.deadband
    if side is not Side.LOW and care.alert_high is not None:
        inside &= values <= care.alert_high - care.deadband
    return inside
