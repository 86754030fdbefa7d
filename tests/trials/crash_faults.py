"""What can go wrong in a room, each fault with a beginning, an end, and a name in the table.

Must not do: decide when, or judge what came of it.
"""

from __future__ import annotations

import contextlib
import random
import sqlite3
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.domain.senml import MEDIA_TYPE, encode
from api.domain.topics import Topics, room_level
from tests.support.mqtt_speaker import Speaker
from tests.trials.crash_world import PROGRAMS, World

LARGE_MS = 300_000
"""The collector follows smaller steps of its clock smoothly."""
MOST_BELIEVED = 6
"""Large steps forward that a time server vouches for: each uses up one of ten stretches of stamps until it is over."""
BEHIND = "clock of the service behind"
"""Further than a reading may be ahead: the service must not make the collector let go of what it does not take."""
AGAIN = """
    SELECT probe, quantity, time_ms, raw, unit FROM reading JOIN channel ON id = channel ORDER BY time_ms DESC LIMIT 200
"""


@dataclass(frozen=True, slots=True)
class Fault:
    """``begin`` says in words what was done; ``end`` puts it right. ``weight`` is how often it is in a round."""

    name: str
    begin: Callable[[], str]
    end: Callable[[], None]
    lasts_s: tuple[float, float]
    possible: Callable[[], bool] = lambda: True
    weight: int = 1


def nothing() -> None:
    """A fault that is over at once."""


class Faults:
    """All faults of a world. ``brief``: none that lasts longer than a short trial has time for."""

    def __init__(self, world: World, chance: random.Random, brief: bool) -> None:
        self._world, self._chance, self._brief = world, chance, brief
        self._believed = 0

    def deck(self) -> list[Fault]:
        """One round: every fault as often as its weight."""
        faults = [*self._programs(), *self._networks(), *self._disks(), self._clock(), self.behind(), self._again()]
        return [fault for fault in faults for _ in range(fault.weight)]

    def _programs(self) -> list[Fault]:
        world = self._world
        out = [Fault("kill -9 of everything at once", self._kill_all, self._start_all, (0.1, 1.5))]
        for name, one in world.programs.items():
            kill, stop, alive = partial(self._kill, name), partial(self._stop, name), partial(self._alive, name)
            out.append(Fault(f"kill -9 of the {name}", kill, one.start, (0.0, 1.5), alive, 3))
            out.append(Fault(f"the {name} stopped and started", stop, one.start, (0.0, 1.0), alive))
        if world.broker is not None:
            out.append(Fault("kill -9 of the broker", self._kill_broker, world.start_broker, (0.0, 1.5), weight=2))
        return out

    def _alive(self, name: str) -> bool:
        return self._world.programs[name].alive

    def _kill(self, name: str) -> str:
        self._world.programs[name].kill()
        return f"kill -9 of the {name}"

    def _stop(self, name: str) -> str:
        return f"the {name} was asked to end, exit code {self._world.programs[name].stop()}"

    def _kill_all(self) -> str:
        for name in PROGRAMS:
            self._world.programs[name].kill()
        self._world.kill_broker()
        return "kill -9 of everything"

    def _start_all(self) -> None:
        self._world.start_broker()
        for name in PROGRAMS:
            self._world.programs[name].start()

    def _kill_broker(self) -> str:
        self._world.kill_broker()
        return "kill -9 of the broker"

    def _networks(self) -> list[Fault]:
        out = []
        for name, network in self._world.networks.items():
            for what, act, lasts_s, weight in (
                ("network cut", network.cut, (0.2, 3.0), 2),
                ("network held up", network.stall, (0.5, 4.0), 1),
                ("connection dead, nobody told", network.bury, (0.5, 3.0), 1),
                ("answers lost, sent again", network.deafen, (0.5, 3.0), 1),
            ):
                begin = partial(self._disturb, act, f"{what}: {name}")
                out.append(Fault(what, begin, partial(self._mend, name), lasts_s, weight=weight))
        return out

    def _disturb(self, act: Callable[[], None], words: str) -> str:
        act()
        return words

    def _mend(self, name: str) -> None:
        self._world.networks[name].mend(reset=self._brief or self._chance.random() < 0.6)

    def _disks(self) -> list[Fault]:
        return [
            Fault(f"disk of the {name} full", partial(self._fill, name), partial(self._world.free, name), (0.5, 4.0))
            for name, disk in self._world.disks.items()
            if disk.small
        ]

    def _fill(self, name: str) -> str:
        self._world.fill(name)
        return f"disk of the {name} full"

    def _clock(self) -> Fault:
        return Fault("clock set wrong, then right", self._set_wrong, self._set_right, (0.5, 5.0), weight=2)

    def _set_wrong(self) -> str:
        who = self._chance.choice((PROGRAMS, PROGRAMS, PROGRAMS, ("collector",), ("service",)))
        sign = self._chance.choice((-1, 1))
        offset_ms = sign * round(1000 * 10 ** self._chance.uniform(0.3, 4.35))  # 2 s to 6 h, small ones as often
        synced = self._chance.random() < 0.3
        if synced and offset_ms > LARGE_MS and "collector" in who:
            self._believed += 1
            synced = self._believed <= MOST_BELIEVED
        for name in who:
            self._world.clocks[name].set(offset_ms, synced)
        return f"clock of {' and '.join(who)} set {offset_ms / 1000:+.0f} s, {'' if synced else 'not '}synced"

    def behind(self) -> Fault:
        """The service's clock alone goes far back; a short trial begins with it."""
        return Fault(BEHIND, self._set_behind, self._set_right, (1.0, 4.0))

    def _set_behind(self) -> str:
        offset_ms = -round(1000 * self._chance.uniform(700.0, 20_000.0))
        self._world.clocks["service"].set(offset_ms, True)
        return f"clock of the service alone set {offset_ms / 1000:+.0f} s"

    def _set_right(self) -> None:
        synced = self._chance.random() < 0.7
        for clock in self._world.clocks.values():
            clock.set(0, synced)

    def _again(self) -> Fault:
        return Fault("kept readings sent once more", self._send_again, nothing, (0.0, 0.1), self._can_send)

    def _can_send(self) -> bool:
        clocks = self._world.clocks["service"]
        return (
            self._world.programs["service"].alive
            and self._world.broker_up == (self._world.broker is not None)
            and (clocks.offset_ms == 0)
        )

    def _send_again(self) -> str:
        found = newest(self._world)
        with contextlib.suppress(OSError, AssertionError):
            if self._world.broker is not None:
                topics = Topics(room_level("Crash room"))
                with Speaker(self._world.broker.port, hears="nothing/here") as speaker:
                    for probe in sorted({reading.probe for reading in found}):
                        pack = encode([reading for reading in found if reading.probe == probe])
                        speaker.say(topics.readings(probe), pack)
            elif found:
                token = (self._world.disks["service"].folder / "collector.token").read_text().strip()
                headers = {"Authorization": f"Bearer {token}", "Content-Type": MEDIA_TYPE}
                url = f"http://127.0.0.1:{self._world.port}/api/v1/readings"
                request = urllib.request.Request(url, encode(found), headers)
                with urllib.request.urlopen(request, timeout=5) as answer:  # noqa: S310 - our own loopback address
                    return f"{len(found)} kept readings sent once more: {answer.read(200).decode()}"
        return f"{len(found)} kept readings sent once more"


def newest(world: World) -> list[RawReading]:
    """The newest kept readings; none while the database cannot be read."""
    try:
        db = sqlite3.connect(f"{world.database.as_uri()}?mode=ro", uri=True)
        try:
            return [RawReading(row[0], Quantity(row[1]), *row[2:]) for row in db.execute(AGAIN)]
        finally:
            db.close()
    except sqlite3.Error:
        return []
