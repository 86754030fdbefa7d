"""A file that completes another one's oxygen, or brings a second probe of its tank, beside all of it in one file.

    python -m tests.bench.again [--rows 500000]

Invented minutes of one tank. First temperature and oxygen in one file: the reference. Then, each in a room of its own:
oxygen first and temperature in a second file; oxygen and temperature first and station pressure in a second file; and
a second probe in a second file. Prints how many kept readings a second are gone over afterwards, beside how many the
reference imported a second, and says so where not every oxygen has its derived value in the end.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from api.domain.quantity import Quantity
from api.intake.block import Series
from tests.support.rooms import NOW_MS, ROOM, TestRoom, room

Q = Quantity
DAY_MS, MINUTE_MS, BLOCK = 86_400_000, 60_000, 50_000
MORE = """
[[probe]]
id = "second"
tank = "t1"
driver = "none"
every_s = 60
value = [{ quantity = "temperature", unit = "Cel" }, { quantity = "oxygen", unit = "mg/L" }]
[[probe]]
id = "air"
driver = "none"
every_s = 60
value = [{ quantity = "pressure", unit = "hPa" }]
"""
Channel = tuple[str, Quantity, str]
WARMTH, OXYGEN = ("p1", Q.TEMPERATURE, "Cel"), ("p1", Q.OXYGEN, "mg/L")
AIR = ("air", Q.PRESSURE, "hPa")
SECOND = (("second", Q.TEMPERATURE, "Cel"), ("second", Q.OXYGEN, "mg/L"))
USUAL = {Q.TEMPERATURE: 25.5, Q.OXYGEN: 7.6, Q.PRESSURE: 1000.0}


def file(rows: int, channels: Sequence[Channel]) -> list[Series]:
    """All rows of a file."""
    number = np.arange(rows)
    times_ms = NOW_MS - 30 * DAY_MS - rows * MINUTE_MS + MINUTE_MS * number.astype(np.int64)
    out = []
    for place, (probe, quantity, unit) in enumerate(channels):
        chance = np.random.default_rng(place)
        values = np.round(USUAL[quantity] + 0.3 * np.sin(number / 200) + chance.normal(0, 0.04, rows), 2)
        out.append(Series(probe, quantity, unit, number + 2, times_ms, values))
    return out


def imported(lab: TestRoom, rows: int, channels: Sequence[Channel]) -> float:
    """Import a file; how long it took. [s]"""
    keep, start_s = lab.service.importing.keep, time.perf_counter()
    whole = file(rows, channels)
    for start in range(0, rows, BLOCK):
        cut = slice(start, start + BLOCK)
        keep.take(
            [
                Series(one.probe, one.quantity, one.unit, one.lines[cut], one.times_ms[cut], one.values[cut])
                for one in whole
            ],
            lab.now_ms,
        )
    keep.finish()
    return time.perf_counter() - start_s


def gone_over(lab: TestRoom) -> float:
    """Go over all that waits; how long it took. [s]"""
    start_s = time.perf_counter()
    while lab.service.store.revisions.waiting():
        lab.service.importing.again.look(at_once=True)
    return time.perf_counter() - start_s


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--rows", type=int, default=500_000)
    rows = parser.parse_args().rows
    text = ROOM.replace("[[notify]]", f"{MORE}[[notify]]", 1)
    cases: dict[str, tuple[Sequence[Channel], Sequence[Channel]]] = {
        "oxygen, then temperature": ((OXYGEN,), (WARMTH,)),
        "both, then pressure": ((WARMTH, OXYGEN), (AIR,)),
        "both, then a second probe": ((WARMTH, OXYGEN), SECOND),
    }
    with tempfile.TemporaryDirectory() as folder, room(Path(folder), text) as lab:
        reference = 2 * rows / imported(lab, rows, (WARMTH, OXYGEN))
    print(f"{'in one file':<28}{reference:>10,.0f} readings/s imported")
    for name, (first, second) in cases.items():
        with tempfile.TemporaryDirectory() as folder, room(Path(folder), text) as lab:
            imported(lab, rows, first)
            imported(lab, rows, second)
            rate = len(first) * rows / gone_over(lab)
            derived = lab.service.store.past.kept("p1", Q.OXYGEN_SATURATION, 0, 2**62).values
        whole = len(derived) == rows and np.isfinite(derived).all()
        print(f"{name:<28}{rate:>10,.0f} kept readings/s gone over   ratio {rate / reference:.2f}", end="")
        print("" if whole else "   NOT ALL WERE DERIVED")


if __name__ == "__main__":
    main()
