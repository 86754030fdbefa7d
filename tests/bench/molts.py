"""Molt windows of 1,000 animals of several species from three years of temperatures, beside pandas, in one run.

    python -m tests.bench.molts [--animals 1000] [--tanks 40] [--days 1095] [--beside 100]

Goal: windows for all in under 2 s. Printed are: from readings of every minute and from means of an hour, each with
nothing summed before (cold) and with the tanks' sums there (warm), learning always included; from the database of a
service just started (cold: every hour read from disk; its hours stand as readings of every minute leave them), and when
it asks again. Beside it degree-days of some animals' intervals by pandas from their readings of every minute, how long
it takes, how that compares, and how far the two are apart. Seconds of the clock, and of the processor, which other work
on the machine does not lengthen. Tanks share arrays of minutes so that memory stays small; every one is summed for
itself.
"""

from __future__ import annotations

import argparse
import sqlite3
import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas

from api.domain.life import Life
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.molt.intervals import intervals_of
from api.molt.outlook import room_outlook
from api.molt.past import past_of
from api.molt.species_table import figures_of
from api.molt.warmth import Warmth
from api.services.tank_warmth import TankWarmth
from tests.support.rooms import TestRoom
from tests.trials.molt_colony import colony_of
from tests.trials.molt_notes import DAY_MS, START_MS
from tests.trials.molt_water import HOUR_MS

MINUTE_MS = 60_000
COLONIES = 5
"""Colonies, most of another species, that share the tanks."""


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


def lives_of(animals: int, tanks: int, days: int, now_ms: int) -> list[Life]:
    """Records of several colonies in the same tanks."""
    out: list[Life] = []
    for number in range(COLONIES):
        colony = colony_of(np.random.default_rng([3, number]), animals // COLONIES, float(days), 10.0, tanks)
        out += [replace(life, id=life.id + 10_000 * number) for life in (one.life(now_ms) for one in colony.animals)]
    return out


def took(work: Callable[[], object]) -> str:
    """Seconds of a piece of work."""
    start_s, work_s = time.perf_counter(), time.process_time()
    work()
    return f"{time.perf_counter() - start_s:5.2f} s ({time.process_time() - work_s:.2f} s of the processor)"


def beside_pandas(lives: list[Life], water: dict[str, Warmth], now_ms: int) -> str:
    """Degree-days of animals' intervals: ours all at once, pandas' one after the other; the largest difference."""
    pasts = [past_of(one, now_ms) for one in lives]
    pasts = [one for one in pasts if not one.holds]
    start_s = time.process_time()
    ours = intervals_of(pasts, water).ran.thermal
    ours_s, start_s, theirs = time.process_time() - start_s, time.process_time(), []
    series = {
        tank: pandas.Series(one.temperature_c, pandas.to_datetime(one.time_ms, unit="ms"))
        for tank, one in water.items()
    }
    for past in pasts:
        species, minute_d = figures_of(past.life.animal.species), MINUTE_MS / DAY_MS
        ends = [past.since_ms, *((one.first_ms + one.last_ms) // 2 for one in past.moments), now_ms]
        for place, (a_ms, b_ms) in enumerate(pairwise(ends)):
            if place == 0 and len(ends) > 2 and b_ms <= a_ms:
                continue
            part = series[past.stays[0].tank].loc[pandas.Timestamp(a_ms, unit="ms") : pandas.Timestamp(b_ms, unit="ms")]
            rate = part.clip(species.zero.value, species.cap.value) - species.zero.value
            theirs.append(float(rate.sum()) * minute_d)
    theirs_s = time.process_time() - start_s
    off = float(np.abs(ours - np.array(theirs)).max())
    return (
        f"degree-days of {len(theirs)} intervals: ours {ours_s:.3f} s, pandas {theirs_s:.2f} s of the processor,"
        f" {theirs_s / ours_s:.0f} times; at most {off:.3f} degree-days apart"
    )


def database(folder: Path, tanks: list[str], water: dict[str, Warmth]) -> TestRoom:
    """A room with a thermometer in each tank, whose hours lie in its database."""
    text = '[room]\nname = "Bench"\nzone = "UTC"\npressure_kpa = 101.325\n'
    for tank in tanks:
        text += (
            f'[[tank]]\nid = "{tank}"\n[[probe]]\nid = "p-{tank}"\ntank = "{tank}"\ndriver = "serial_lines"\n'
            f'port = "/dev/null-{tank}"\nevery_s = 60\nvalue = [{{ quantity = "temperature", unit = "Cel" }}]\n'
        )
    lab = TestRoom(folder, text)
    lab.take(*(RawReading(f"p-{tank}", Quantity.TEMPERATURE, lab.now_ms, 20.0, "Cel") for tank in tanks))
    found = sqlite3.connect(folder / "data" / "intermolt.db", timeout=30.0)
    for channel, probe in found.execute("SELECT id, probe FROM channel WHERE quantity = 'temperature'").fetchall():
        one = water[probe.removeprefix("p-")]
        rows = zip(one.time_ms.tolist(), (60.0 * one.temperature_c).tolist(), strict=True)
        found.executemany(
            "INSERT OR IGNORE INTO summary VALUES (3600, ?, ?, 60, ?, 0.0, 0.0, 50.0, 0)",
            ((channel, start_ms, total) for start_ms, total in rows),
        )
    found.commit()
    found.close()
    return lab


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser()
    for name, usual in (("animals", 1000), ("tanks", 40), ("days", 1095), ("beside", 100)):
        parser.add_argument(f"--{name}", type=int, default=usual)
    given = parser.parse_args()
    tanks = [f"t{number}" for number in range(given.tanks)]
    now_ms = START_MS + given.days * DAY_MS - HOUR_MS
    lives = lives_of(given.animals, given.tanks, given.days, now_ms)
    by_minute = minutes(tanks, given.days, np.random.default_rng(1))
    by_hour = hours(by_minute)
    molts, species = sum(len(one.molts) for one in lives), len({one.animal.species for one in lives})
    print(f"{len(lives)} animals of {species} species, {molts} molts, {given.tanks} tanks, {given.days} days")
    room_outlook(lives[:20], by_hour, now_ms)
    for name, water in (("minutes", by_minute), ("hours", by_hour)):
        for state in ("cold", "warm"):
            if state == "cold":
                for one in water.values():
                    one._clocks.clear()
                    one._grids.clear()
            print(f"{name:9} {state}  {took(partial(room_outlook, lives, water, now_ms))}")
    with TemporaryDirectory() as folder:
        lab = database(Path(folder), tanks, by_hour)
        warmth = TankWarmth(lab.service.store, lab.service.plan)
        for state in ("cold", "warm"):
            print(f"database  {state}  {took(lambda: room_outlook(lives, warmth.all(set(tanks), now_ms), now_ms))}")
        lab.close()
    print(beside_pandas(lives[:: max(1, len(lives) // given.beside)], by_minute, now_ms))


if __name__ == "__main__":
    main()
