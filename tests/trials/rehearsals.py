"""The rehearsal trial: recordings of rooms by chance, gone through compiled and in the interpreter, must be the same.

    python -m tests.trials.rehearsals [--rooms 300] [--first 0]

Compared are all that is told (times, words, causes, forecasts) and all that is remembered at the end, to the last bit.
Prints a line for each room that differs, then how many readings went through the compiled run; ends with 1 if any did.
The reference is the interpreter, whose rules are those of the live service.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from tqdm import tqdm

from api.rehearsal.command import plan_of
from api.rehearsal.compiled import Run, compiled_run
from api.rehearsal.whole import by_columns
from tests.support.both_ways import gone_through, room_by_chance
from tests.support.columns import recordings


@dataclass(frozen=True, slots=True)
class Both:
    """What came of a room: whether both ways were the same, its readings, and how many went compiled."""

    seed: int
    same: bool
    readings: int
    compiled: int


def both_ways(seed: int, run: Run, folder: Path) -> Both | None:
    """One room; None when its channels lean on each other, which always goes reading by reading."""
    text, readings = room_by_chance(seed)
    (folder / "room.toml").write_text(text, encoding="utf-8")
    plan, columns = plan_of(folder / "room.toml"), recordings(readings)
    if not by_columns(plan, columns):
        return None
    end_ms = readings[-1].time_ms + 3_600_000
    told, kept, _ = gone_through(plan, columns, end_ms, None)
    told_too, kept_too, rows = gone_through(plan, columns, end_ms, run)
    return Both(seed, told == told_too and kept == kept_too, len(readings), rows)


def main() -> int:
    """Run it and print."""
    parser = argparse.ArgumentParser(prog="tests.trials.rehearsals")
    parser.add_argument("--rooms", type=int, default=300)
    parser.add_argument("--first", type=int, default=0)
    asked, run = parser.parse_args(), compiled_run()
    if run is None:
        print("nothing can be compiled on this machine")
        return 1
    with tempfile.TemporaryDirectory() as name:
        seeds = tqdm(range(asked.first, asked.first + asked.rooms), desc="rooms", file=sys.stderr)
        found = [one for seed in seeds if (one := both_ways(seed, run, Path(name))) is not None]
    differ = [one.seed for one in found if not one.same]
    for seed in differ:
        print(f"room {seed} differs")
    readings, rows = sum(one.readings for one in found), sum(one.compiled for one in found)
    print(f"{len(found)} rooms, {readings} readings, {rows} of them compiled; {len(differ)} rooms differ")
    return 1 if differ else 0


if __name__ == "__main__":
    sys.exit(main())
