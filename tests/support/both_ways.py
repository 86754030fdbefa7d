"""Recordings gone through compiled and in the interpreter: what is told and what is remembered, to the last bit."""

from __future__ import annotations

import random
from collections.abc import Sequence

import numpy as np

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.judge.tank_watch import TankWatch
from api.rehearsal.compiled import Run
from api.rehearsal.records import PAST_OF_OXYGEN, STILL, WATCH, Layout, put
from api.rehearsal.stepwise import Told
from api.rehearsal.whole import RehearsalRun
from api.services.plan import RoomPlan
from api.services.recording import Recording
from tests.support.mild_room import mild, mild_text
from tests.support.recorded_room import recorded, room_text

KINDS = ("both", "both", "both", "heat", "air", "salts")


def memories(run: RehearsalRun) -> list[tuple[str, object]]:
    """All that is remembered of the room and its tanks, to the last bit."""
    outlooks = run.ingest.judging.outlooks
    out: list[tuple[str, object]] = [("room", (run.ingest.judging.room_ms, outlooks.room._looks))]
    for line in run._lines:
        watch = outlooks.tank(line.checked.channel.tank.id if line.checked.channel.tank else None)
        out += [(f"{line.checked.key}", line.at_rest), *_of(watch, *line.checked.key)]
    return out


def _of(watch: TankWatch | None, probe: str, quantity: Quantity) -> list[tuple[str, object]]:
    if watch is None or (probe, quantity) not in watch.channels:
        return []
    said = [(f"{probe} {quantity}", _bits(WATCH, watch.channels[probe, quantity]))]
    if (probe, quantity) in watch.pasts:
        said.append((f"past of {probe} {quantity}", _bits(PAST_OF_OXYGEN, watch.pasts[probe, quantity])))
    return [*said, (f"still {probe}", _bits(STILL, watch.stills[probe]))]


def _bits(layout: Layout, one: object) -> str:
    record = np.zeros(1, layout)[0]
    put(record, layout, one)
    return repr(record.tolist())


def gone_through(
    plan: RoomPlan, columns: Sequence[Recording], end_ms: int, run: Run | None
) -> tuple[list[Told], list[tuple[str, object]], int]:
    """What was told, what is remembered, and how many readings the calm run took."""
    rehearsal = RehearsalRun(plan, min(int(one.times_ms[0]) for one in columns) - 1, columns, run)
    told = rehearsal.run(end_ms)
    rows = 0 if rehearsal._calm is None else rehearsal._calm.gone
    kept = memories(rehearsal)
    rehearsal.close()
    return told, kept, rows


def room_by_chance(seed: int) -> tuple[str, list[RawReading]]:
    """A room file and its recording: three of four where little happens, the others where everything does."""
    chance = random.Random(seed)
    if seed % 4 == 0:
        tanks, every_s = chance.randint(1, 5), chance.choice([10, 60, 120, 600])
        return room_text(tanks, every_s), recorded(seed, tanks, min(200.0, 3000 * every_s / 3600), every_s)
    kinds = [
        [chance.choice(KINDS)] if chance.random() < 0.7 else [chance.choice(["heat", "salts"]), "air"]
        for _ in range(chance.randint(1, 5))
    ]
    every_s, rows = chance.choice([10, 30, 60, 60, 120, 300, 600]), chance.choice([2000, 4000, 9000])
    hours, step = min(300.0, rows * every_s / 3600), chance.choice([0.001, 0.01, 0.02, 0.05, 0.1])
    return mild_text(kinds, every_s), mild(seed, kinds, hours, every_s, step)
