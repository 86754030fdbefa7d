"""Recorded readings as columns, one recording a channel, in the order of time; converted and checked all at once.

Must not do: judge; or convert and check otherwise than the line does reading by reading.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from heapq import merge
from itertools import groupby, repeat

import numpy as np

from api.domain.care import CareRange
from api.domain.checks import CheckLimits
from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag, RawReading
from api.judge.check_batch import check
from api.judge.check_seed import seed
from api.judge.check_stream import Revised, Stream
from api.science.arrays import Bools, Flags, Floats, Ints
from api.services.company import said, together
from api.services.convert_many import Converted, convert_many
from api.services.plan import ChannelPlan, RoomPlan
from api.services.streams import MOST_PAST

Key = tuple[str, Quantity]
PLAIN = (Flag.GOOD, "")


@dataclass(frozen=True, slots=True)
class Recording:
    """What one channel said, each time once and later than the one before. ``units``: one for all, or one each.

    ``places``: where each stood among all that was recorded, so that what came at one moment keeps its order.
    """

    probe: str
    quantity: Quantity
    times_ms: Ints
    raws: Floats
    units: str | Sequence[str]
    places: Ints

    def unit(self, at: int) -> str:
        """The unit of one reading."""
        return self.units if isinstance(self.units, str) else self.units[at]


def packs(recorded: Sequence[Recording]) -> Iterator[tuple[int, list[RawReading]]]:
    """The readings of recordings again, those of one moment together; what the line would refuse is left out."""
    rows = [
        zip(one.times_ms.tolist(), one.places.tolist(), repeat(one), range(len(one.times_ms)), strict=False)
        for one in recorded
    ]
    for time_ms, some in groupby(merge(*rows, key=lambda row: row[:2]), key=lambda row: row[0]):
        pack = []
        for _, _, one, at in some:
            with suppress(InputError):
                pack.append(RawReading(one.probe, one.quantity, time_ms, float(one.raws[at]), one.unit(at)))
        yield time_ms, pack


class CheckedRecording:
    """A channel's recording in canonical units, with the flags its readings had as they came.

    ``calm``: passed its checks and lies within the limits of its care range.
    """

    def __init__(
        self,
        recording: Recording,
        channel: ChannelPlan,
        made: Converted,
        company: tuple[Ints, Floats] | None = None,
    ) -> None:
        """``company``: all that the probes beside it say."""
        self.recording, self.channel, self._company = recording, channel, company
        self.key = (recording.probe, recording.quantity)
        self.values, self._base_flags, self._reasons = made.values, made.flags, made.reasons
        self.flags = self._checked(replace(channel.limits, spike_suspect=None, spike_fail=None))
        self._told: dict[int, tuple[Flag, str]] = {}
        self._judge_calm()

    def _judge_calm(self) -> None:
        good = (self.flags < Flag.SUSPECT) & np.isfinite(self.values)
        self.calm: Bools = good & ~_beyond(self.values, self.channel.care)

    def _checked(self, limits: CheckLimits) -> Flags:
        times_ms, values = self._company if self._company is not None else (None, None)
        found = check(
            self.recording.times_ms, self.values, limits, self.recording.quantity, self._base_flags,
            company_times_ms=times_ms, company_values=values,
        )  # fmt: skip
        return found.flags

    def settled(self) -> Flags:
        """The flags the readings had when the next ones had come."""
        return self._checked(self.channel.limits)

    def reading(self, at: int) -> CheckedReading:
        """One reading with the flag and the reason it had when it was the newest."""
        flag, reason = Flag(int(self.flags[at])), ""
        if flag is Flag.SUSPECT:
            flag, reason = self._told[at] if at in self._told else self._tell(at)
        value, recording = float(self.values[at]), self.recording
        return CheckedReading(
            *self.key, int(recording.times_ms[at]), float(recording.raws[at]), recording.unit(at),
            value if value == value else None, flag, reason,
        )  # fmt: skip

    def _tell(self, at: int) -> tuple[Flag, str]:
        """The words need the numbers around a reading: the checks go through its stretch of such readings once more."""
        end = at
        while end < len(self.flags) and self.flags[end] == Flag.SUSPECT:
            end += 1
        for place, (checked, _) in enumerate(self.steps(at, end), at):
            self._told[place] = (checked.flag, checked.reason)
        return self._told[at]

    def steps(self, start: int, end: int) -> Iterable[tuple[CheckedReading, Revised | None]]:
        """Readings from one place until before another as they came, and what each made of the one before it."""
        times_ms, recording = self.recording.times_ms, self.recording
        past = slice(self._past_of(start), start)
        stream = seed(
            Stream(self.channel.limits, recording.quantity), times_ms[past].tolist(), self._listed(past),
            self.flags[past].tolist(), [self._base(at) for at in range(past.start, past.stop)], self._near,
        )  # fmt: skip
        for at in range(start, end):
            value = float(self.values[at])
            known = value if value == value else None
            step = stream.step(int(times_ms[at]), known, *self._base(at), self._near)
            raw = float(recording.raws[at]), recording.unit(at)
            yield CheckedReading(*self.key, int(times_ms[at]), *raw, known, step.flag, step.reason), step.revised

    def _near(self, time_ms: int) -> tuple[int, float] | None:
        """The newest that the probes beside it said, not later than a time."""
        company = self._company
        if company is None:
            return None
        times_ms, values = company
        at = int(np.searchsorted(times_ms, time_ms, side="right")) - 1
        return (int(times_ms[at]), float(values[at])) if at >= 0 else None

    def _past_of(self, at: int) -> int:
        """From where on a stream has to be told the past of a reading, and one reading more."""
        if not at:
            return 0
        start_ms = int(self.recording.times_ms[at - 1]) - round(self.channel.limits.past_s * 1000)
        first = int(np.searchsorted(self.recording.times_ms, start_ms))
        return max(first, at - MOST_PAST, 1) - 1

    def _listed(self, rows: slice) -> list[float | None]:
        return [value if value == value else None for value in self.values[rows].tolist()]

    def _base(self, at: int) -> tuple[Flag, str]:
        flag = int(self._base_flags[at])
        return (Flag(flag), self._reasons.get(at, "")) if flag != Flag.GOOD else PLAIN


def checked(recorded: Sequence[Recording], plan: RoomPlan, earliest_ms: int) -> list[CheckedRecording]:
    """The recordings of tanks' channels, checked; what was said before the earliest time is heard by none beside."""
    own = [one for one in recorded if plan.channel(one.probe, one.quantity).tank is not None]
    channels = {(one.probe, one.quantity): plan.channel(one.probe, one.quantity) for one in own}
    made = {
        key: convert_many(one.quantity, one.raws, one.units, one.times_ms, channels[key])
        for one in own
        for key in [(one.probe, one.quantity)]
    }
    told = {}
    for one in own:
        key, heard = (one.probe, one.quantity), one.times_ms >= earliest_ms
        told[key] = said(one.times_ms[heard], made[key].values[heard], made[key].flags[heard], channels[key])
    out = []
    for one in own:
        key = (one.probe, one.quantity)
        beside = [(probe, one.quantity) for probe in channels[key].company]
        company = together([told[other] for other in beside if other in told])
        out.append(CheckedRecording(one, channels[key], made[key], company))
    return out


def _beyond(values: Floats, care: CareRange | None) -> Bools:
    """Whether values lie outside the tolerable band or beyond a danger limit; limits belong inside."""
    out = np.zeros(len(values), dtype=bool)
    if care is not None:
        for low in (care.danger_low, care.tolerable_low):
            if low is not None:
                out |= values < low
        for high in (care.danger_high, care.tolerable_high):
            if high is not None:
                out |= values > high
    return out
