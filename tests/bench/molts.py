"""Molt windows of 1,000 animals from three years of temperatures, in one run.

    python -m tests.bench.molts [--animals 1000] [--tanks 40] [--days 1095]

Prints how long the clocks of all tanks take from readings of every minute and from means of an hour, and how long the
windows of all animals take on each, learning included (goal: under 2 s in all). Tanks share their arrays of minutes,
each rolled by a day, so that memory stays small; every tank is summed for itself.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from api.molt.outlook import RoomOutlook, room_outlook
from api.molt.warmth import Warmth
from tests.trials.molt_colony import Colony, colony_of
from tests.trials.molt_notes import DAY_MS, START_MS
from tests.trials.molt_water import HOUR_MS

MINUTE_MS = 60_000


def minutes(tanks: list[str], days: int, rng: np.random.Generator) -> dict[str, Warmth]:
    """Every tank's readings of every minute."""
    time_ms = START_MS + np.arange(days * 1440, dtype=np.int64) * MINUTE_MS
    values = 20.0 + 2.0 * np.sin(time_ms / DAY_MS / 58.0) + rng.normal(0.0, 0.1, time_ms.size)
    levels = [values + step for step in (-0.4, 0.0, 0.4)]
    return {tank: Warmth.of_readings(time_ms, levels[at % 3]) for at, tank in enumerate(tanks)}


def hours(water: dict[str, Warmth]) -> dict[str, Warmth]:
    """The same as means of an hour."""
    return {
        tank: Warmth.of_hours(one.time_ms[::60], one.temperature_c.reshape(-1, 60).mean(axis=1))
        for tank, one in water.items()
    }


def run(colony: Colony, water: dict[str, Warmth], now_ms: int) -> tuple[float, float, float, RoomOutlook]:
    """Seconds for everything, seconds of the processor for it, seconds once the clocks are there, and what came out."""
    lives = [one.life(now_ms) for one in colony.animals]
    for one in water.values():
        one._clocks.clear()
    start_s, work_s = time.perf_counter(), time.process_time()
    room = room_outlook(lives, water, now_ms)
    work_s = time.process_time() - work_s
    middle_s = time.perf_counter()
    room_outlook(lives, water, now_ms)
    return middle_s - start_s, work_s, time.perf_counter() - middle_s, room


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--animals", type=int, default=1000)
    parser.add_argument("--tanks", type=int, default=40)
    parser.add_argument("--days", type=int, default=1095)
    given = parser.parse_args()
    rng = np.random.default_rng(1)
    colony = colony_of(rng, given.animals, float(given.days), 10.0, given.tanks)
    now_ms = START_MS + given.days * DAY_MS - HOUR_MS
    by_minute = minutes(list(colony.water), given.days, rng)
    room_outlook([], {}, now_ms)
    for name, water in (("minutes", by_minute), ("hours", hours(by_minute))):
        took = [run(colony, water, now_ms) for _ in range(3)]
        first_s, work_s, again_s = (float(one) for one in np.median([one[:3] for one in took], axis=0))
        room = took[0][3]
        molts = sum(one.basis.own_molts for one in room.outlooks)
        print(
            f"{name:8} {len(room.outlooks)} animals, {molts} molts, {len(water)} tanks, {given.days} days:"
            f" all {first_s:.2f} s ({work_s:.2f} s of the processor); once the clocks are there {again_s:.2f} s"
        )


if __name__ == "__main__":
    main()
