"""Readings that change nothing but what is remembered of a channel, one after the other, in the order they came.

The same steps as ``TankWatch.take`` and what is looked at after it, over records (``rehearsal/records.py``) instead of
objects: written so that it can be compiled. Must not do: judge; where anything comes up it stops.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from api.judge.heading import asks
from api.judge.probe_health import STUCK_LEAST_MS, least_nats, quiet_of_late
from api.judge.room_watch import EVERY_MS
from api.judge.swapped import jumped_lately
from api.science.arrays import Bools, Floats, Ints


class Rows(NamedTuple):
    """Readings of all channels in the order the line takes them: time, number of the channel, value, whether it passed
    its checks and lies within its limits, whether it leads to a look at how much the water has changed.
    """

    times_ms: Ints
    numbers: Ints
    values: Floats
    calm: Bools
    changes: Bools


JUDGE, LOOK, CHANGE = 0, 1, 2
"""What a run stops for: a reading it did not take, one it took after which something may have come up, and one it took
that only leads to a look at the change.
"""


class Memory(NamedTuple):
    """Records of channels, probes and tanks; by probe and by tank the numbers of their channels, -1 after the last.

    ``heard_ms``: when each channel last spoke; ``heard_rows``: how often, since its tank was lent; ``room_ms``: when
    the room was last looked at, one value.
    """

    lines: Any
    stills: Any
    tanks: Any
    of_probe: Ints
    of_tank: Ints
    heard_ms: Ints
    heard_rows: Ints
    room_ms: Ints


def calm_run(rows: Rows, memory: Memory, at: int, stop_ms: int) -> tuple[int, int]:
    """The row it stops at, from ``at`` on, and for what; at the end of the rows, or of the time: to judge."""
    while at < len(rows.times_ms):
        time_ms, number, value = rows.times_ms[at], rows.numbers[at], rows.values[at]
        line = memory.lines[number]
        if time_ms >= stop_ms or not line.ready or not rows.calm[at]:
            break
        if line.followed and not line.watch.plain(time_ms, value):
            break
        memory.heard_ms[number] = time_ms
        memory.heard_rows[number] += 1
        if line.followed:
            if not line.derived:
                memory.stills[line.probe].hear(line.place, time_ms, value, line.watch.every_ms)
            if line.watch.take_plain(time_ms, value) and not as_before(memory, number, time_ms):
                return at, LOOK
        if rows.changes[at]:
            return at, CHANGE
        at += 1
    return at, JUDGE


def as_before(memory: Memory, number: int, time_ms: int) -> bool:
    """After a span closed: nothing is expected, the probe is believed, and the tank fares as it did."""
    line = memory.lines[number]
    if line.oxygen:
        warm_c = memory.lines[line.heat].watch.approach.level if line.heat >= 0 else 0.0
        line.past.remember(line.watch, warm_c)
        if line.past.slow.falls:
            return False
    if line.cared:
        if asks(line.watch, True, line.tolerable_low, line.coolest_per_h, line.beyond):
            return False
        if line.warms and asks(line.watch, False, line.tolerable_high, line.coolest_per_h, line.beyond):
            return False
    if not believed(memory, line.probe, time_ms) or not fares_alike(memory, line.tank):
        return False
    memory.tanks[line.tank].looked_ms = time_ms
    if time_ms - memory.room_ms[0] >= EVERY_MS:
        memory.room_ms[0] = time_ms
    return True


def believed(memory: Memory, probe: int, time_ms: int) -> bool:
    """Whether nothing can speak against a probe."""
    still, nats, every_ms = memory.stills[probe], 0.0, 0.0
    for place in range(memory.of_probe.shape[1]):
        number = memory.of_probe[probe, place]
        if number < 0:
            break
        watch = memory.lines[number].watch
        if jumped_lately(watch, time_ms) or not quiet_of_late(watch, time_ms):
            return False
        every_ms = watch.every_ms
        nats += watch.stuck_nats
    if not still.moves and time_ms - still.still_since_ms(max(every_ms, 1000.0)) >= STUCK_LEAST_MS:
        return False
    return nats == 0.0 or nats < least_nats(every_ms)


def fares_alike(memory: Memory, tank: int) -> bool:
    """Whether the tank keeps to its usual band, or leaves it, as at its last look."""
    heat = oxygen = percent = 0
    for place in range(memory.of_tank.shape[1]):
        number = memory.of_tank[tank, place]
        if number < 0:
            break
        line = memory.lines[number]
        way = line.watch.leaves(line.departs)
        if line.place == 0:
            heat = heat or way
        elif line.place == 1:
            oxygen = oxygen or way
        else:
            percent = percent or way
    one = memory.tanks[tank]
    return bool(heat == one.heat and (oxygen or percent) == one.oxygen)
