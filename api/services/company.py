"""What the probes beside one say, for the check of a probe that moves while those stand still.

Company is believed when it did not fail by itself, so that no check waits for another probe's neighbours in time.
Must not do: check.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag, KeptReading
from api.judge.check_batch import gross as gross_flags
from api.judge.check_windows import in_ms
from api.judge.check_words import gross_of
from api.science.arrays import Flags, Floats, Ints
from api.services.convert import converted
from api.services.plan import ChannelPlan, RoomPlan
from api.storage.base import Store

Key = tuple[str, Quantity]
Pair = tuple[int, float]


class Company:
    """Looks up what a channel's company said: what is kept, and what has come with the pack at work."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._heard: dict[Key, dict[int, float]] = {}

    def begin(self) -> None:
        """A new pack."""
        self._heard.clear()

    def hear(self, reading: CheckedReading, channel: ChannelPlan) -> None:
        """Note what a probe says before the one beside it is checked: they often speak at the same moment."""
        if reading.value is not None and believed(reading.value, reading.flag, channel):
            key = (reading.probe, reading.quantity)
            self._heard.setdefault(key, {}).setdefault(reading.time_ms, reading.value)

    def near(self, quantity: Quantity, channel: ChannelPlan, time_ms: int, plan: RoomPlan) -> Pair | None:
        """The newest value, not later than a time, near enough to keep a channel company."""
        start_ms = time_ms - age_ms(channel)
        found: dict[tuple[str, int], float] = {}
        for probe in channel.company:
            rows = self._store.revisions.rows(probe, quantity, start_ms, time_ms + 1)
            kept = _made(quantity, rows, plan.channel(probe, quantity))
            found |= {(probe, said_ms): value for said_ms, value in kept}
            for said_ms, value in self._heard.get((probe, quantity), {}).items():
                if start_ms <= said_ms <= time_ms:
                    found.setdefault((probe, said_ms), value)
        return max(((said_ms, value) for (_, said_ms), value in found.items()), default=None)

    def past(self, quantity: Quantity, channel: ChannelPlan, start_ms: int, end_ms: int, plan: RoomPlan) -> list[Pair]:
        """All that a channel's company said in a span that is kept, in the order of time."""
        return sorted(
            pair
            for probe in channel.company
            for pair in _made(
                quantity, self._store.revisions.rows(probe, quantity, start_ms, end_ms), plan.channel(probe, quantity)
            )
        )


def age_ms(channel: ChannelPlan) -> int:
    """How old what keeps a channel company may be."""
    return in_ms(channel.limits.company_age_s) if channel.company else 0


def believed(value: float, flag: Flag, channel: ChannelPlan) -> bool:
    """Whether a value, with the flag it had before its checks, did not fail by itself."""
    return flag < Flag.FAIL and gross_of(channel.limits, value) < Flag.FAIL


def said(times_ms: Ints, values: Floats, flags: Flags, channel: ChannelPlan) -> tuple[Ints, Floats]:
    """What a channel says to those it keeps company, of columns with the flags they had before their checks."""
    known = np.isfinite(values) & (flags < Flag.FAIL) & (gross_flags(values, channel.limits) < Flag.FAIL)
    return times_ms[known], values[known]


def together(company: Sequence[tuple[Ints, Floats]]) -> tuple[Ints, Floats] | None:
    """What several say, in the order of time, of one moment the highest last; None where there are none."""
    if not company:
        return None
    times_ms = np.concatenate([times for times, _ in company])
    values = np.concatenate([values for _, values in company])
    order = np.lexsort((values, times_ms))
    return times_ms[order], values[order]


def _made(quantity: Quantity, rows: Sequence[KeptReading], channel: ChannelPlan) -> list[Pair]:
    """Values made from raw, so that they never wait for a calibration to be worked in."""
    made = [(row.time_ms, *converted(quantity, row.raw_value, row.raw_unit, row.time_ms, channel)[:2]) for row in rows]
    return [(time_ms, value) for time_ms, value, flag in made if value is not None and believed(value, flag, channel)]
