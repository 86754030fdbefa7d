"""The room as it runs: wall time moves the water, and each probe speaks through its port.

Clock and sleep come in as arguments. Must not do: judge, or speak to the service.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from collector.simulated import saved as saved_room
from collector.simulated.demo import SETTLES_MS, Demo, faults_between, texts_of
from collector.simulated.physics import STEP_MS, Record, Scene, arrive
from collector.simulated.ports import Port
from collector.simulated.room_air import HOUR_MS
from collector.simulated.saved import Saved

TICK_MS = 2_000
LOOK_S = 0.05
SAVE_EVERY_MS = 30_000


class Live:
    """The water on wall time, one tick at a time, so that a late call passes through the same moments."""

    def __init__(self, demo: Demo, saved: Saved) -> None:
        self.demo, self.saved = demo, saved
        self._water_ms, self._wall_ms = saved.state.time_ms, saved.wall_ms
        self.tick_ms = min(STEP_MS, max(1, round(TICK_MS * max(1.0, demo.settings.speed))))
        self._planned_ms = 0
        self._scene: Scene = demo.scene(saved.wall_ms)
        self.texts: list[list[str] | None] = []

    def move(self, wall_ms: int) -> None:
        """Bring the water to this wall time (a clock that was set back leaves it where it is)."""
        state = self.saved.state
        water_ms = self._water_ms + round((wall_ms - self._wall_ms) * self.demo.settings.speed)
        if water_ms - state.time_ms > SETTLES_MS:
            state = replace(state, time_ms=water_ms - SETTLES_MS)
        step_ms = self.tick_ms if water_ms - state.time_ms < HOUR_MS else STEP_MS
        until_ms = water_ms - (water_ms - self._water_ms) % step_ms
        if until_ms <= state.time_ms and self.texts:
            return
        self._plan(state.time_ms, max(until_ms, state.time_ms), wall_ms)
        state = arrive(self._scene, state, until_ms, step_ms)
        ((_, self.texts),) = texts_of(self.demo, self._scene, Record.of(self._scene, [state]))
        self.saved = replace(self.saved, state=state, wall_ms=self._wall_of(state.time_ms))

    def _wall_of(self, water_ms: int) -> int:
        return self._wall_ms + round((water_ms - self._water_ms) / self.demo.settings.speed)

    def _plan(self, start_ms: int, end_ms: int, wall_ms: int) -> None:
        if end_ms > self._planned_ms:
            self._planned_ms = end_ms + 6 * HOUR_MS
            faults = faults_between(self.demo, self.saved, start_ms, self._planned_ms)
            self._scene = self.demo.scene(wall_ms, faults)


@contextmanager
def open_ports(demo: Demo, folder: Path) -> Iterator[list[Port]]:
    """A port for each probe in ``folder``, hung up at the end."""
    folder.mkdir(parents=True, exist_ok=True)
    ports: list[Port] = []
    try:
        for dialect in demo.dialects:
            ports.append(Port(folder / dialect.probe))
        yield ports
    finally:
        for port in ports:
            port.close()


def run(
    live: Live,
    ports: Sequence[Port],
    state_path: Path,
    stopped: Callable[[], bool],
    now_ms: Callable[[], int],
    sleep: Callable[[float], None],
) -> None:
    """Speak until stopped; the state is saved every half minute and at the end."""
    dialects = live.demo.dialects
    # Spread over the interval as probes are that were switched on one after another.
    due = [now_ms() + round(number * 1000 * d.every_s / (4 * len(dialects))) for number, d in enumerate(dialects)]
    saved_ms = 0
    try:
        while not stopped():
            wall_ms = now_ms()
            live.move(wall_ms)
            for number, (dialect, port) in enumerate(zip(dialects, ports, strict=True)):
                asked = port.asked(dialect.poll.encode()) if dialect.poll else 0
                if not dialect.poll and _is_due(due[number], wall_ms, dialect.every_s):
                    asked, due[number] = 1, _next_due(due[number], wall_ms, dialect.every_s)
                texts = live.texts[number]
                if texts is not None:
                    for _ in range(min(asked, 3)):
                        port.write(dialect.line(texts))
            if abs(wall_ms - saved_ms) >= SAVE_EVERY_MS:
                saved_ms = wall_ms
                saved_room.write(state_path, live.saved)
            sleep(LOOK_S)
    finally:
        saved_room.write(state_path, live.saved)


def _is_due(due_ms: int, wall_ms: int, every_s: float) -> bool:
    """Whether it is the probe's turn; a turn further off than its interval means that the clock was set back."""
    return wall_ms >= due_ms or due_ms - wall_ms > 2 * max(1, round(every_s * 1000))


def _next_due(due_ms: int, wall_ms: int, every_s: float) -> int:
    """The next moment of the probe's own beat; turns that were missed are not made up."""
    every_ms = max(1, round(every_s * 1000))
    return due_ms + ((wall_ms - due_ms) // every_ms + 1) * every_ms
