"""The demo's room as it is begun: its past lived through, its opening faults set, its probes known.

Must not do: touch a disk, a port or a clock; the wall time comes in as an argument.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from api.domain.errors import InputError
from api.domain.tank import RoomFile, SimulatedSettings
from collector.simulated import schedule
from collector.simulated.dialect import Dialect, dialect_of, is_simulated
from collector.simulated.faults import Fault
from collector.simulated.oxygen import Array
from collector.simulated.physics import STEP_MS, Record, Scene, arrive, march
from collector.simulated.probe_signal import signal
from collector.simulated.room_air import DAY_MS, HOUR_MS
from collector.simulated.saved import Saved
from collector.simulated.scenario import scene_of
from collector.simulated.state import at_rest


@dataclass(frozen=True, slots=True)
class Demo:
    """A room file with its simulated settings and the probes whose lines are made here."""

    room_file: RoomFile
    settings: SimulatedSettings
    dialects: tuple[Dialect, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Tank ids, in the order of all arrays."""
        return tuple(tank.id for tank in self.room_file.tanks)

    def scene(self, now_ms: int, faults: tuple[Fault, ...] = ()) -> Scene:
        """The room's physics with these faults."""
        return scene_of(self.room_file, self.settings.seed, now_ms, faults)

    def column(self, dialect: Dialect) -> int:
        """Which column of the arrays a probe's tank is."""
        return self.names.index(dialect.tank)


def demo_of(room_file: RoomFile, file: str) -> Demo:
    """Check that the room file asks for a simulated room.

    Raises InputError when it does not, or asks for what cannot be simulated.
    """
    if room_file.simulated is None:
        raise InputError(f"{file}: there is no [room.simulated] table, so this room is real. Nothing to simulate.")
    dialects = tuple(dialect_of(probe) for probe in room_file.probes if is_simulated(probe))
    if not dialects:
        raise InputError(
            f'{file}: no probe has a simulated port. Give one port = ".../simulated/ports/<probe id>",'
            " or delete [room.simulated]."
        )
    return Demo(room_file, room_file.simulated, dialects)


def live_past(demo: Demo, now_ms: int) -> Iterator[tuple[Record, Saved]]:
    """Live through the days before ``now_ms``, which becomes the first start; the last pair holds the room now.

    Records stand every ``history_every_s`` before now and begin ``history_days`` before it.
    """
    every, step_ms = _steps(demo.settings.history_every_s)
    days_ms = round(demo.settings.history_days * DAY_MS)
    record_ms = every * step_ms
    start_ms = now_ms - days_ms // record_ms * record_ms
    # Steps are counted back from now, so that the last record is now itself; a day settles the water beforehand.
    lead_ms = -(-schedule.LEAD_MS // record_ms) * record_ms
    scene = demo.scene(now_ms, schedule.past(now_ms))
    names = demo.names
    settled_ms = min(start_ms, now_ms - lead_ms) - record_ms
    begun = at_rest(scene.tanks, settled_ms - DAY_MS // record_ms * record_ms)
    state = arrive(scene, begun, settled_ms, SETTLING_STEP_MS)
    before = state
    for record, before in march(scene, state, now_ms - lead_ms, step_ms, every):
        yield record.since(start_ms), Saved(now_ms, now_ms, names, (), before)
    opening = schedule.opening(scene, before, now_ms, demo.settings.seed)
    scene = replace(scene, faults=(*scene.faults, *opening))
    for record, end in march(scene, before, now_ms, step_ms, every):
        yield record.since(start_ms), Saved(now_ms, now_ms, names, opening, end)


def _steps(every_s: float) -> tuple[int, int]:
    """How many steps between records, and how long each is [ms]."""
    every = max(1, -(-round(every_s * 1000) // STEP_MS))
    return every, max(1, round(every_s * 1000 / every))


def texts_of(demo: Demo, scene: Scene, record: Record) -> Iterator[tuple[int, list[list[str] | None]]]:
    """Each moment's texts, one entry a probe in the order of ``demo.dialects`` (None: the probe is quiet)."""
    if not len(record.times_ms):
        return
    seen = signal(
        scene.tanks,
        demo.settings.seed,
        record.times_ms,
        record.values["probe_c"],
        record.values["probe_mg_l"],
        record.faults,
    )
    full: Array = scene.tanks.saturation_mg_l(seen.temperature_c)
    columns = [demo.column(dialect) for dialect in demo.dialects]
    for row, time_ms in enumerate(record.times_ms.tolist()):
        yield (
            time_ms,
            [
                dialect.texts(seen.temperature_c[row, c], seen.oxygen_mg_l[row, c], full[row, c])
                for dialect, c in zip(demo.dialects, columns, strict=True)
            ],
        )


def faults_between(demo: Demo, saved: Saved, start_ms: int, end_ms: int) -> tuple[Fault, ...]:
    """The opening faults and those that come later, as far as they touch the span."""
    later = schedule.later(demo.settings.seed, saved.first_start_ms, demo.names, start_ms, end_ms)
    return (*saved.opening, *later)


SETTLING_STEP_MS = 60_000
"""The day before the past is not recorded: longer steps begin a room sooner and are forgotten by its first record."""
SETTLES_MS = 48 * HOUR_MS
"""Two days on, nothing in a tank remembers how it began: the slowest warms and cools within a day."""
