"""One channel's new readings among those kept around them: values, flags and reasons as if all had come in order.

The same checks as ``past.py`` makes of kept rows, column by column. Must not do: write.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from api.domain.reading import Arrival, Flag, KeptReading
from api.judge.check_batch import Checked, check
from api.judge.check_windows import in_ms
from api.science.arrays import Bools, Floats, Ints
from api.services.company import said as said_by
from api.services.company import together
from api.services.convert_many import Converted, convert_many
from api.services.past_rows import Given, Key, Tally, sifted
from api.services.past_tails import Tails
from api.services.plan import ChannelPlan
from api.storage.base import Store
from api.storage.past_base import Columns


@dataclass(frozen=True, slots=True)
class Around:
    """A channel's rows, kept and new, in the order of time, made from raw; ``new`` marks those not kept yet.

    ``first`` to ``last`` (outside) are the rows whose checks can be made: all around them that matters is here.
    ``span_ms``: the rows that the next window will want again.
    """

    key: Key
    channel: ChannelPlan
    rows: Columns
    made: Converted
    new: Bools
    first: int
    last: int
    span_ms: tuple[int, int]


@dataclass(frozen=True, slots=True)
class Found:
    """A channel's rows as they should be; ``changed`` are kept rows that were otherwise, as ``before`` says.

    ``open_ms``: the newest row so far whose spike test is still to come, None where there is none. ``last``: where the
    rows that were checked end.
    """

    key: Key
    channel: ChannelPlan
    rows: Columns
    new: Bools
    changed: Bools
    before: Columns
    open_ms: int | None
    last: int
    span_ms: tuple[int, int]

    @property
    def goes_on(self) -> bool:
        """Whether the last row that was checked has changed, so that those after it may, too."""
        return bool(self.changed[self.last - 1]) and self.last < len(self.changed)

    def changes(self) -> list[tuple[KeptReading, KeptReading]]:
        """Kept rows as they were and as they are now."""
        return [(row(self.before, place), row(self.rows, place)) for place in np.flatnonzero(self.changed).tolist()]


def around(
    tails: Tails,
    key: Key,
    channel: ChannelPlan,
    given: Given,
    start_ms: int,
    end_ms: int,
    reach_ms: int,
    tally: Tally,
) -> Around:
    """New rows of a window from start (inside) to end (outside) among those kept.

    Rows up to ``limits.past_s`` after the window may change with it, and what lies that long before it matters to it;
    ``reach_ms`` around it are wanted besides.
    """
    limits = channel.limits
    gap_ms, past_ms = in_ms(limits.gap_s) if limits.gap_s else 0, round(limits.past_s * 1000)
    checked_from_ms, checked_to_ms = start_ms - gap_ms, end_ms + past_ms
    wider_ms = max(past_ms, reach_ms)
    kept = tails.kept(key, checked_from_ms - wider_ms, end_ms + wider_ms + gap_ms)
    given = sifted(key, given, kept, tally)
    times_ms = np.concatenate((kept.times_ms, given.times_ms))
    order = np.argsort(times_ms, kind="stable")
    new = (np.arange(len(times_ms)) >= len(kept.times_ms))[order]
    units: str | list[str] = given.units
    if isinstance(units, list) or (len(kept.times_ms) and kept.units != units):
        both = [kept.unit(n) for n in range(len(kept.times_ms))] + [given.unit(n) for n in range(len(given.lines))]
        units = [both[place] for place in order.tolist()]
    moved = np.argsort(order)
    late = np.full(len(given.times_ms), int(Arrival.LATE), np.int8)
    none = np.zeros(len(given.times_ms), np.int8)
    rows = Columns(
        times_ms[order],
        np.concatenate((kept.raws, given.raws))[order],
        units,
        np.concatenate((kept.values, np.full(len(given.raws), np.nan)))[order],
        np.concatenate((kept.flags, none))[order],
        np.concatenate((kept.arrivals, late))[order],
        {int(moved[place]): why for place, why in kept.reasons.items()},
    )
    made = convert_many(key[1], rows.raws, rows.units, rows.times_ms, channel)
    first, last = np.searchsorted(rows.times_ms, (checked_from_ms, checked_to_ms)).tolist()
    wanted_ms = end_ms - gap_ms - wider_ms, end_ms
    return Around(key, channel, rows, made, new, first, last, wanted_ms)


def said(one: Around) -> tuple[Ints, Floats]:
    """What a channel says to those it keeps company: all that did not fail by itself."""
    return said_by(one.rows.times_ms, one.made.values, one.made.flags, one.channel)


def said_kept(store: Store, key: Key, channel: ChannelPlan, start_ms: int, end_ms: int) -> tuple[Ints, Floats]:
    """The same of a channel's kept rows."""
    kept = store.past.kept(*key, start_ms, end_ms)
    made = convert_many(key[1], kept.raws, kept.units, kept.times_ms, channel)
    return said_by(kept.times_ms, made.values, made.flags, channel)


def found(one: Around, company: Sequence[tuple[Ints, Floats]]) -> Found:
    """The checks of one channel's rows."""
    times_ms, values = together(company) or (None, None)
    why = [""] * len(one.new)
    for place, reason in one.made.reasons.items():
        why[place] = reason
    known_failed = ~one.new & (one.rows.flags == Flag.FAIL)
    known_failed[one.first :] = False
    checked = check(
        one.rows.times_ms,
        one.made.values,
        one.channel.limits,
        one.key[1],
        base_flags=one.made.flags,
        base_reasons=why,
        company_times_ms=times_ms,
        company_values=values,
        known_failed=known_failed,
    )
    return _found(one, checked)


def _open_ms(one: Around, checked: Checked) -> int | None:
    """The newest row so far that is believed, where what comes next tells whether it is a spike."""
    if "spike" not in checked.tests:
        return None
    if not one.new.any():
        return None
    newest = int(np.flatnonzero(one.new)[-1])
    believed = checked.believed[checked.believed <= newest]
    if not len(believed):
        return None
    newest_ms, last_ms = int(one.rows.times_ms[newest]), int(one.rows.times_ms[believed[-1]])
    return last_ms if newest_ms - last_ms <= in_ms(one.channel.limits.gap_s) else None


def _found(one: Around, checked: Checked) -> Found:
    """Outside of the rows that were checked, all stays as it is kept."""
    rows, made, part = one.rows, one.made, slice(one.first, one.last)
    values, flags = rows.values.copy(), rows.flags.copy()
    values[part], flags[part] = made.values[part], checked.flags[part]
    reasons = {place: why for place, why in rows.reasons.items() if not one.first <= place < one.last}
    for place in (one.first + np.flatnonzero(flags[part] != Flag.GOOD)).tolist():
        reasons[place] = checked.reason(place)
    after = Columns(rows.times_ms, rows.raws, rows.units, values, flags, rows.arrivals, reasons)
    changed = ~one.new & (rows.arrivals != Arrival.WAITING)
    changed[: one.first] = changed[one.last :] = False
    same = (flags == rows.flags) & ((values == rows.values) | (np.isnan(values) & np.isnan(rows.values)))
    for place in np.flatnonzero(changed & same).tolist():
        same[place] = reasons.get(place, "") == rows.reasons.get(place, "")
    return Found(
        one.key, one.channel, after, one.new, changed & ~same, rows, _open_ms(one, checked), one.last, one.span_ms
    )


def row(rows: Columns, place: int) -> KeptReading:
    """One of some rows."""
    value = float(rows.values[place])
    return KeptReading(
        int(rows.times_ms[place]),
        float(rows.raws[place]),
        rows.unit(place),
        None if value != value else value,
        Flag(int(rows.flags[place])),
        rows.reasons.get(place, ""),
        Arrival(int(rows.arrivals[place])),
    )
