"""Guided air tests: a person stops the air of one tank, the service watches and says when it must go on again.

It switches nothing. The time without air ends at the tolerable limit, after three hours, or when the probe cannot be
followed; then everybody is told at once. Must not do: fit (``grace.py``).
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from typing import TypeVar

from api.domain.alert import Priority
from api.domain.errors import InputError, NotFound
from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.services.judging import Judging
from api.services.plan import RoomPlan
from api.services.rounds import Rounds
from api.services.warn import Warn
from api.storage.air_test_base import AirTestRow
from api.storage.base import Channel, Store

T = TypeVar("T")
LOOK_EVERY_S = 5.0
MOST_OFF_MS, MOST_ON_MS = 3 * 3_600_000, 2 * 3_600_000
"""Without air three hours tell enough; two hours with air bring the water back (judgement)."""
UNHEARD_MS = 600_000
"""A probe not heard for ten minutes cannot watch over a test."""
MARGIN_MG_L = 0.2
"""The air goes on this far above the tolerable limit: somebody has to walk there."""
BEGIN_ABOVE_MG_L = 0.5
CAUTIONS = (
    "Stay in the room, and stop the air by hand: Intermolt switches nothing and can fail.",
    "One tank at a time; not with soft, berried or sick animals, nor within a day of a big meal or a water change.",
    "Dry hands at plugs; an air pump below the water line needs a check valve, or water runs back into it.",
    "Put the air on at once when an animal climbs out, lies on its side, or anything looks wrong.",
    "Follow your animal-care approval: an air test may need one.",
)


@dataclass(frozen=True, slots=True)
class Watched:
    """What a test is watched by: the probe, its oxygen now [mg/L], and where the air goes on again [mg/L]."""

    probe: str
    oxygen_mg_l: float
    time_ms: int
    stop_mg_l: float


class AirTests:
    """Begins, follows and ends air tests."""

    def __init__(
        self, store: Store, plan: Callable[[], RoomPlan], judging: Judging, warn: Warn, now_ms: Callable[[], int]
    ) -> None:
        self._store, self._plan, self._judging, self._warn, self._now_ms = store, plan, judging, warn, now_ms
        self.rounds = Rounds("air tests", self.look, LOOK_EVERY_S, now_ms)
        self._note()

    def running(self, tank: str) -> AirTestRow | None:
        """The test that runs in a tank."""
        return next(iter(self._store.air_tests.tests(tank, running=True)), None)

    def watched(self, tank: str) -> Watched | None:
        """The tank's oxygen as a test would follow it; None where no probe can."""
        now_ms, channel = self._now_ms(), oxygen_channel(self._store, self._plan(), tank)
        if channel is None or channel.value is None or now_ms - channel.last_ms > UNHEARD_MS:
            return None
        care = self._plan().channel(channel.probe, Quantity.OXYGEN).care
        limit = care.alert_low if care is not None else None
        return None if limit is None else Watched(channel.probe, channel.value, channel.last_ms, limit + MARGIN_MG_L)

    def begin(self, tank: str, person: str) -> Future[int]:
        """The air of a tank has just been stopped.

        Raises NotFound, or InputError where a test cannot be watched or would begin too low.
        """
        self._check(tank)
        now_ms = self._now_ms()
        return self._change(lambda: self._store.air_tests.open(tank, person, now_ms))

    def why_not(self, tank: str) -> str:
        """What speaks against beginning a test now, before anybody stops the air; empty: nothing.

        Raises NotFound.
        """
        try:
            self._check(tank)
        except NotFound:
            raise
        except InputError as error:
            return str(error)
        return ""

    def _check(self, tank: str) -> None:
        plan = self._plan()
        if tank not in plan.tanks:
            raise NotFound(f"there is no tank {tank!r}")
        name = plan.tanks[tank].name
        if self._store.air_tests.tests(running=True):
            raise InputError("an air test runs already: one tank at a time. End it first")
        if tank in plan.soft:
            raise InputError(f"{name} holds a soft animal: it needs its oxygen. Test once it is hard again")
        seen = self.watched(tank)
        if seen is None:
            raise InputError(
                f"{name}: no oxygen reading of the last ten minutes with a lower limit, so nothing could watch the"
                " test. See that the probe speaks first"
            )
        if seen.oxygen_mg_l < seen.stop_mg_l + BEGIN_ABOVE_MG_L:
            raise InputError(
                f"{name}: oxygen is {seen.oxygen_mg_l:.1f} mg/L, too near to {seen.stop_mg_l:.1f} mg/L where a test"
                " ends. See to its air first, and begin when the water is well aired"
            )

    def air_on(self, tank: str) -> Future[None]:
        """The air is on again. Raises NotFound where no test waits for it."""
        test, now_ms = self._waiting(tank), self._now_ms()
        why = "" if test.stop_ms is not None else "ended by a person"
        return self._change(
            lambda: self._store.air_tests.change(
                test.id, stop_ms=None if test.stop_ms is not None else now_ms, on_ms=now_ms, why=why
            )
        )

    def end(self, tank: str) -> Future[None]:
        """Enough was seen with the air on. Raises NotFound where no test runs."""
        test = self.running(tank)
        if test is None:
            raise NotFound(f"no air test runs in tank {tank!r}")
        if test.on_ms is None:
            raise InputError("first say that the air is on again")
        now_ms = self._now_ms()
        return self._change(lambda: self._store.air_tests.change(test.id, ended_ms=now_ms, why=""))

    def look(self) -> None:
        """One look at the tests that run."""
        for test in self._store.air_tests.tests(running=True):
            self._follow(test, self._now_ms())

    def _follow(self, test: AirTestRow, now_ms: int) -> None:
        if test.on_ms is not None:
            if now_ms - test.on_ms >= MOST_ON_MS:
                self._change(lambda: self._store.air_tests.change(test.id, ended_ms=now_ms, why="")).result()
            return
        if test.stop_ms is not None:
            return
        seen = self.watched(test.tank)
        if seen is None:
            why = "the probe was not heard for ten minutes"
        elif seen.oxygen_mg_l <= seen.stop_mg_l:
            why = f"oxygen came down to {seen.oxygen_mg_l:.1f} mg/L"
        elif now_ms - test.off_ms >= MOST_OFF_MS:
            why = "three hours are over"
        else:
            return
        self._change(lambda: self._stop(test, why, now_ms)).result()

    def _stop(self, test: AirTestRow, why: str, now_ms: int) -> None:
        self._store.air_tests.change(test.id, stop_ms=now_ms, why=why)
        plan = self._plan()
        name = plan.tanks[test.tank].name if test.tank in plan.tanks else test.tank
        body = (
            f"{name}: put the air on again now. The air test is over: {why}. Then say so on the tank's air test page."
        )
        self._warn.post(None, Priority.URGENT, f"URGENT {name}: air on again", body, now_ms)

    def _waiting(self, tank: str) -> AirTestRow:
        test = self.running(tank)
        if test is None or test.on_ms is not None:
            raise NotFound(f"no air test in tank {tank!r} waits for its air")
        return test

    def _change(self, work: Callable[[], T]) -> Future[T]:
        return self._store.write(work, lambda _: self._note())

    def _note(self) -> None:
        """A tank whose air was stopped on purpose is not said to be heading anywhere; its limits still are judged."""
        tests = self._store.air_tests.tests(running=True)
        self._judging.on_purpose = frozenset(test.tank for test in tests if test.stop_ms is None)


def oxygen_channel(store: Store, plan: RoomPlan, tank: str) -> Channel | None:
    """The channel that tells a tank's oxygen in mg/L; the newest where there are several."""
    probes = {probe.id for probe in plan.probes_of(tank)}
    own = [
        one
        for one in store.readings.channels()
        if one.probe in probes and one.quantity is Quantity.OXYGEN and one.flag <= Flag.SUSPECT
    ]
    return max(own, key=lambda one: one.last_ms, default=None)
