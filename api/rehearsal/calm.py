"""Stretches in which nothing comes up, gone through by the compiled calm run; what it remembers is a tank's own again
before the tank is judged.

A tank is lent to the run while nothing of it is expected, doubted or standing. Must not do: judge.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np

from api.domain.band import Side
from api.domain.care import CareRange
from api.domain.quantity import Quantity
from api.judge.calm_run import Rows
from api.judge.channel_watch import ChannelWatch
from api.judge.heading import BEYOND_USUAL, coolest, limits_of
from api.judge.probe_health import quiet_of_late
from api.judge.standstill import PLACES
from api.judge.swapped import jumped_lately
from api.judge.tank_watch import DEPARTS, PER_MG_L, TankWatch
from api.rehearsal.compiled import Run
from api.rehearsal.records import PAST_OF_OXYGEN, STILL, WATCH, memory, put, take_back
from api.services.judging import Judging, Key
from api.services.recording import CheckedRecording

FIRST_ROWS, MOST_ROWS = 64, 1024
"""After a stop a tank is followed reading by reading for so many of its rows; for twice as many each time it stopped
again before it had been worth its while, four times as many rows."""
WORTH = 4


@dataclass(slots=True)
class Tank:
    """One tank. ``lent``: its forecast while the run has it; ``wait``: rows until it may be lent again."""

    name: str
    number: int
    lines: list[int]
    lent: TankWatch | None = None
    wait: int = 0
    rows: int = FIRST_ROWS


class CalmStretches:
    """``checked``: the channels of all tanks, in the order of their numbers."""

    def __init__(self, checked: Sequence[CheckedRecording], judging: Judging, run: Run) -> None:
        self._checked, self._judging, self._run = checked, judging, run
        probes = list(dict.fromkeys(one.key[0] for one in checked))
        names = [one.channel.tank.id if one.channel.tank is not None else "" for one in checked]
        self._tanks = [
            Tank(name, number, [at for at, own in enumerate(names) if own == name])
            for number, name in enumerate(dict.fromkeys(names))
        ]
        self._of_line = [next(tank for tank in self._tanks if tank.name == name) for name in names]
        self._numbers = {one.key: at for at, one in enumerate(checked)}
        self.memory = memory(len(checked), len(probes), len(self._tanks))
        self._probe = {name: at for at, name in enumerate(probes)}
        self._looked_ms = np.zeros(len(self._tanks), np.int64)
        self.gone = 0
        """How many rows it went through."""

    def go(self, rows: Rows, at: int, stop_ms: int) -> tuple[int, int]:
        """See ``calm_run``; the room knows then how newly each tank was looked at."""
        judging, kept, begun = self._judging, self.memory, at
        kept.room_ms[0] = judging.room_ms
        at, why = self._run(rows, kept, at, stop_ms)
        self.gone += at - begun
        judging.room_ms = int(kept.room_ms[0])
        for number in np.flatnonzero(kept.tanks["looked_ms"] != self._looked_ms).tolist():
            self._looked_ms[number] = looked_ms = int(kept.tanks["looked_ms"][number])
            judging.outlooks.room.again(self._tanks[number].name, looked_ms)
        return at, why

    def give_back(self, number: int) -> None:
        """A channel's tank is judged with its next reading."""
        tank = self._of_line[number]
        if tank.lent is None:
            tank.wait -= 1
            return
        watch, tank.lent = tank.lent, None
        # what it was worth, in its own rows
        worth = sum(int(self.memory.heard_rows[at]) for at in tank.lines)
        tank.rows = FIRST_ROWS if worth > WORTH * tank.rows else min(2 * tank.rows, MOST_ROWS)
        tank.wait = tank.rows
        self.memory.lines["ready"][tank.lines] = False
        for key, channel in watch.channels.items():
            record = self.memory.lines[self._numbers[key]]
            take_back(record["watch"], WATCH, channel)
            if key in watch.pasts:
                take_back(record["past"], PAST_OF_OXYGEN, watch.pasts[key])
        for probe, still in watch.stills.items():
            take_back(self.memory.stills[self._probe[probe]], STILL, still)

    def end(self) -> None:
        """All tanks are given back."""
        for tank in self._tanks:
            self.give_back(tank.lines[0])

    def lent(self, number: int, now_ms: int, at_rest: Callable[[int], bool]) -> bool:
        """Whether a channel's tank is with the run, or can be lent to it now. ``at_rest``: of each channel."""
        tank = self._of_line[number]
        if tank.lent is None and tank.wait <= 0:
            watch = self._judging.outlooks.tank(tank.name)
            heard = [at for at in tank.lines if self.memory.heard_ms[at] >= 0]
            if watch is not None and all(map(at_rest, heard)) and self._calm(tank, watch, now_ms):
                self._lend(tank, watch, heard)
            else:
                tank.wait = FIRST_ROWS
        return tank.lent is not None and self._judging.outlooks.room.quiet

    def _calm(self, tank: Tank, watch: TankWatch, now_ms: int) -> bool:
        """Whether nothing of a tank is in question."""
        look = self._judging.outlooks.room.newest(tank.name)
        if look is None or look.starves or not watch.undisturbed or watch.flow_last is not None:
            return False
        if any(self._judging.lies(key[0]) or not _settled(one, now_ms) for key, one in watch.channels.items()):
            return False
        return all(key[0] in watch.stills and (key in watch.pasts or key[1] not in PER_MG_L) for key in watch.channels)

    def _lend(self, tank: Tank, watch: TankWatch, heard: list[int]) -> None:
        kept, look = self.memory, self._judging.outlooks.room.newest(tank.name)
        tank.lent = watch
        if look is not None:
            kept.tanks[tank.number] = (look.heat, look.oxygen, look.time_ms)
            self._looked_ms[tank.number] = look.time_ms
        numbers = [self._numbers[key] for key in watch.channels]
        kept.of_tank[tank.number, : len(numbers)] = numbers
        for probe, still in watch.stills.items():
            own = [self._numbers[key] for key in watch.channels if key[0] == probe]
            kept.of_probe[self._probe[probe], : len(own)] = own
            put(kept.stills[self._probe[probe]], STILL, still)
        for key, channel in watch.channels.items():
            self._put_line(tank, watch, key)
            put(kept.lines[self._numbers[key]]["watch"], WATCH, channel)
        kept.heard_rows[tank.lines] = 0
        kept.lines["ready"][heard] = True

    def _put_line(self, tank: Tank, watch: TankWatch, key: Key) -> None:
        """What the run has to know of a channel beside its forecast."""
        line, care, quantity = self.memory.lines[self._numbers[key]], self._care(key), key[1]
        heat = watch.heat_key(key[0])
        line["followed"], line["place"] = True, PLACES[quantity]
        line["probe"], line["tank"] = self._probe[key[0]], tank.number
        line["heat"] = self._numbers[heat] if heat is not None else -1
        line["derived"], line["oxygen"] = watch.derived(key), quantity in PER_MG_L
        line["cared"], line["warms"] = care is not None, quantity is Quantity.TEMPERATURE
        low, high = (limits_of(care, side)[1] if care is not None else None for side in (Side.LOW, Side.HIGH))
        line["tolerable_low"], line["tolerable_high"] = -inf if low is None else low, inf if high is None else high
        line["coolest_per_h"], line["beyond"] = coolest(quantity), BEYOND_USUAL.get(quantity, 0.0)
        line["departs"] = DEPARTS[quantity]
        if key in watch.pasts:
            put(line["past"], PAST_OF_OXYGEN, watch.pasts[key])

    def _care(self, key: Key) -> CareRange | None:
        return self._checked[self._numbers[key]].channel.care


def _settled(watch: ChannelWatch, now_ms: int) -> bool:
    return quiet_of_late(watch, now_ms) and not jumped_lately(watch, now_ms)
