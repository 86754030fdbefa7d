"""The other oxygen quantity of a recording, as it was derived when each reading came: with what was known then.

The same rules as ``leaning.py`` and ``partners.py`` reading by reading. Must not do: derive by itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from api.domain.quantity import Quantity
from api.domain.reading import Arrival, CheckedReading, Flag, KeptReading
from api.judge.check_stream import Revised
from api.science.arrays import Flags, Floats, Ints
from api.services.derive import OTHER, derive
from api.services.derive_many import Chosen, Told, choose_many, derive_many
from api.services.leaning import derives, water
from api.services.partners import MOST, TEMPERATURE_AGE_MS, Partner, choose
from api.services.past_derived import usable
from api.services.plan import RoomPlan
from api.services.recording import CheckedRecording, Key, Recording
from api.storage.past_base import Columns

FOR_EVER_MS = 2**61
SETTLED_MS = 60_000
"""Until what has come is gone over. [ms]"""


@dataclass(frozen=True, slots=True)
class Warmth:
    """One thermometer's readings that can serve: flags as they came, and as the next reading left them."""

    probe: str
    times_ms: Ints
    values: Floats
    came: Flags
    settled: Flags

    def known(self, time_ms: int) -> list[Partner]:
        """The newest of them at a time, with the flags they had then."""
        end = int(np.searchsorted(self.times_ms, time_ms, side="right"))
        first = max(0, end - MOST)
        flags = [*self.settled[first : end - 1].tolist(), int(self.came[end - 1])] if end else []
        rows = zip(self.times_ms[first:end].tolist(), self.values[first:end].tolist(), flags, strict=True)
        return [Partner(at_ms, value, Flag(flag), self.probe) for at_ms, value, flag in rows]


@dataclass(frozen=True, slots=True)
class Final:
    """Values and flags when all has come, and from when on that is known; never where nothing became otherwise."""

    values: Floats
    flags: Flags
    known_ms: Ints


def warmth_of(one: CheckedRecording) -> Warmth:
    """A temperature's recording as partner."""
    serves = usable(one.values, one.flags)
    settled = one.settled()
    return Warmth(
        one.key[0], one.recording.times_ms[serves], one.values[serves], one.flags[serves], settled[serves]
    )  # fmt: skip


class DerivedRecording(CheckedRecording):
    """What is derived from a channel's recording."""

    def __init__(self, source: CheckedRecording, warmths: Sequence[Warmth], plan: RoomPlan) -> None:
        self._source, self._warmths = source, warmths
        said, quantity = source.recording, OTHER[source.key[1]]
        self.recording = Recording(source.key[0], quantity, said.times_ms, said.raws, said.units, said.places)
        self.key, self.channel = (source.key[0], quantity), plan.channel(source.key[0], quantity)
        self._water = water(None, source.channel, plan)
        chosen = chosen_then(source.key[0], said.times_ms, warmths)
        nothing = np.zeros(len(said.times_ms), np.int8)
        rows = Columns(said.times_ms, said.raws, "", source.values, source.flags, nothing)
        made = derive_many(*source.key, rows, chosen, None, self._water, exact=True)
        self.values, self.flags = made.values, made.flags
        self._judge_calm()

    def reading(self, at: int) -> CheckedReading:
        """One value with the flag and the reason it had when it was the newest."""
        source = self._source.reading(at)
        return derive(source, self._partner(source.time_ms), self._water)

    def steps(self, start: int, end: int) -> Iterable[tuple[CheckedReading, Revised | None]]:
        """Values from one place until before another as they came."""
        return ((self.reading(at), None) for at in range(start, end))

    def made_again(self, first: int, end: int, up_to_ms: int) -> list[KeptReading]:
        """Values from one place until before another that were derived otherwise by a time: better partners came, or
        the next reading told more of a flag. Gone over as ``again.py`` does, at its next look.
        """
        found = self._final
        which = first + np.flatnonzero(found.known_ms[first:end] + SETTLED_MS <= up_to_ms)
        said = self.recording
        return [
            KeptReading(
                int(said.times_ms[at]), float(said.raws[at]), said.unit(at),
                float(found.values[at]) if np.isfinite(found.values[at]) else None,
                Flag(int(found.flags[at])), "", Arrival.IN_TIME,
            )
            for at in which.tolist()
        ]  # fmt: skip

    @cached_property
    def _final(self) -> Final:
        source, times_ms = self._source, self.recording.times_ms
        settled, nothing = source.settled(), np.zeros(len(times_ms), np.int8)
        told = [Told(one.probe, one.times_ms, one.values, one.settled) for one in self._warmths]
        chosen = choose_many(told, source.key[0], times_ms, TEMPERATURE_AGE_MS)
        rows = Columns(times_ms, self.recording.raws, "", source.values, settled, nothing)
        made = derive_many(*source.key, rows, chosen, None, self._water, exact=True)
        same = (made.values == self.values) | (np.isnan(made.values) & np.isnan(self.values))
        doubted = (settled >= Flag.SUSPECT) != (source.flags >= Flag.SUSPECT)
        known_ms = np.where(doubted, np.append(times_ms[1:], FOR_EVER_MS), 0)
        for one in self._warmths:
            later = np.append(one.times_ms, FOR_EVER_MS)[np.searchsorted(one.times_ms, times_ms, side="right")]
            known_ms = np.where(same, known_ms, np.maximum(known_ms, later))
        known_ms[same & ((made.flags >= Flag.SUSPECT) == (self.flags >= Flag.SUSPECT))] = FOR_EVER_MS
        return Final(made.values, made.flags, known_ms)

    def _partner(self, time_ms: int) -> Partner | None:
        return partner_then(self.key[0], time_ms, self._warmths)


def chosen_then(probe: str, times_ms: Ints, warmths: Sequence[Warmth]) -> Chosen:
    """The partner each reading of a probe found when it came.

    Nearly always the newest of some thermometer is good, and the newest of these is the one.
    """
    best_ms = np.full(len(times_ms), -1)
    values, flags = np.full(len(times_ms), np.nan), np.full(len(times_ms), int(Flag.MISSING), np.int8)
    doubted = np.zeros(len(times_ms), dtype=bool)
    for one in sorted(warmths, key=lambda one: (one.probe != probe, one.probe)):
        if not len(one.times_ms):
            continue
        at = np.searchsorted(one.times_ms, times_ms, side="right") - 1
        near = (at >= 0) & (times_ms - one.times_ms[at] <= TEMPERATURE_AGE_MS)
        good = one.came[at] < Flag.SUSPECT
        doubted |= near & ~good
        better = near & good & (one.times_ms[at] > best_ms)
        best_ms[better] = one.times_ms[at[better]]
        values[better], flags[better] = one.values[at[better]], one.came[at[better]]
    for place in np.flatnonzero(doubted).tolist():
        found = partner_then(probe, int(times_ms[place]), warmths)
        values[place] = np.nan if found is None else found.value
        flags[place] = Flag.MISSING if found is None else found.flag
    return Chosen(values, flags)


def partner_then(probe: str, time_ms: int, warmths: Sequence[Warmth]) -> Partner | None:
    """``Partners.temperature`` for a reading that comes at a time, of what had come until then."""
    newest = sorted((partner for one in warmths for partner in one.known(time_ms)), key=lambda one: one.time_ms)
    return choose((one for one in newest[-MOST:] if one.flag <= Flag.SUSPECT), time_ms, probe, TEMPERATURE_AGE_MS)


def with_derived(checked: Sequence[CheckedRecording], plan: RoomPlan) -> list[CheckedRecording]:
    """Recordings, each followed by what is derived from it and judged."""
    leaning = {one.key for one in checked if judged_derived(one.key, plan)}
    tanks = {plan.probes[probe].tank for probe, _ in leaning}
    warmths: dict[str | None, list[Warmth]] = {}
    for one in checked:
        tank = plan.probes[one.key[0]].tank
        if one.key[1] is Quantity.TEMPERATURE and tank in tanks:
            warmths.setdefault(tank, []).append(warmth_of(one))
    out: list[CheckedRecording] = []
    for one in checked:
        out.append(one)
        if one.key in leaning:
            out.append(DerivedRecording(one, warmths.get(plan.probes[one.key[0]].tank, []), plan))
    return out


def judged_derived(key: Key, plan: RoomPlan) -> bool:
    """Whether something that is judged is derived from a channel."""
    return derives(*key, plan) and plan.channel(key[0], OTHER[key[1]]).care is not None
