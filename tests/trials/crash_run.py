"""One way of readings put through its faults in rounds of ten, with a calm after each in which everything must arrive.

Must not do: count, or print anything but how far it is.
"""

from __future__ import annotations

import random
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from tests.trials.crash_count import Tally, missing, tally
from tests.trials.crash_faults import Fault, Faults
from tests.trials.crash_probes import SETTLED_S, Fate
from tests.trials.crash_world import World

ROUND = 10
ASKED = -15
"""The web server passes the signal that ended it on, once it has closed everything."""
ARRIVES_WITHIN_S, SOON_S = 180.0, 75.0
BRISK = 0.6
GONE_OVER_S = 4.5
"""How long late readings may lie before they are gone over again; then the count must still be right."""


@dataclass
class Result:
    """One way of readings after its trial."""

    uplink: str
    world: World
    tally: Tally = field(default_factory=Tally)
    faults: Counter[str] = field(default_factory=Counter)
    catch_up_s: float = 0.0
    took_s: float = 0.0
    stuck: str = ""
    ends: list[str] = field(default_factory=list)

    @property
    def good(self) -> bool:
        """Whether the goals are met."""
        return self.tally.good and not self.stuck and not self.ends


class Run:
    """A trial of one world; ``say`` is told how far it is."""

    def __init__(
        self, world: World, chance: random.Random, count: int, brief: bool, say: Callable[[str], None]
    ) -> None:
        self._world, self._chance, self._count, self._say = world, chance, count, say
        self._faults = Faults(world, chance, brief)
        self._brief = brief
        self._deck: list[Fault] = [self._faults.behind()] if brief else []
        self._open: list[Fault] = []
        self.result = Result(world.uplink, world)

    def run(self) -> Result:
        """All of it."""
        world, result = self._world, self.result
        began_s = time.monotonic()
        with world:
            world.sleep(2.0 if self._brief else 5.0)
            for number in range(1, self._count + 1):
                self._one()
                if (number % ROUND == 0 and not self._brief) or number == self._count:
                    self._calm()
                    sent = sum(saying.fate is Fate.SENT for saying in world.bench.said().values())
                    self._say(
                        f"{number} of {self._count} faults, {sent} sent, caught up within {result.catch_up_s:.1f} s"
                    )
                if result.stuck:
                    break
            world.bench.rest()
            world.sleep(SETTLED_S + 1.0)
            if not result.stuck:
                self._arrive()
            world.sleep(GONE_OVER_S)
            for name, code in world.end().items():
                if code not in (0, ASKED):
                    result.ends.append(f"the {name} was asked to end and ended with exit code {code}")
            result.tally = tally(world.bench.said(), world.database, world.spool)
        result.ends += [f"{name} {what}" for name, program in world.programs.items() for what in program.ends]
        result.took_s = time.monotonic() - began_s
        return result

    def _one(self) -> None:
        fault = self._next()
        self.result.faults[fault.name] += 1
        self._world.journal.note("trial", f"FAULT: {fault.begin()}")
        pace = BRISK if self._brief else 1.0
        self._world.sleep(pace * self._chance.uniform(*fault.lasts_s))
        while self._open:
            self._end(self._open.pop())
        self._open.append(fault)
        if self._chance.random() < 0.7:
            self._end(self._open.pop())  # else it goes on into the next fault
        self._world.sleep(pace * self._chance.uniform(0.1, 1.2))

    def _end(self, fault: Fault) -> None:
        fault.end()
        self._world.journal.note("trial", f"over: {fault.name}")

    def _next(self) -> Fault:
        """The next fault of a shuffled deck that can be and is not going on already."""
        going = {fault.name for fault in self._open}
        while True:
            for place, fault in enumerate(self._deck):
                if fault.name not in going and fault.possible():
                    return self._deck.pop(place)
            self._deck = self._faults.deck()
            self._chance.shuffle(self._deck)

    def _calm(self) -> None:
        """Everything is put right; what was sent by now must arrive."""
        while self._open:
            self._end(self._open.pop(0))
        for clock in self._world.clocks.values():
            clock.set(0, True)
        self._world.journal.note("trial", "CALM")
        self._arrive()

    def _arrive(self) -> None:
        began_s = time.monotonic()
        said = self._world.bench.said()
        while left := missing(said, self._world.database, self._world.spool):
            waited_s = time.monotonic() - began_s
            if waited_s > (SOON_S if self._brief else ARRIVES_WITHIN_S):
                self.result.stuck = (
                    f"{len(left)} sent readings had not arrived {waited_s:.0f} s after everything was right"
                )
                return
            self._world.sleep(0.25)
        self.result.catch_up_s = max(self.result.catch_up_s, time.monotonic() - began_s)


def run_one(uplink: str, count: int, seed: int, folder: Path, brief: bool) -> Result:
    """The trial of one way of readings, with everything in ``folder``."""
    folder.mkdir(parents=True)
    world = World(folder, uplink)
    chance = random.Random(f"{seed} {uplink}")

    def say(text: str) -> None:
        print(f"{uplink}: {text}", flush=True)

    return Run(world, chance, count, brief, say).run()
