"""The night trial: invented tank-nights through checking and judging, beside the plain alarm, marked by the true water.

    python -m tests.trials.night [--nights 10000] [--first 1000000] [--processes 2] [--failed 40] [--kind "probe stuck"]

Rooms of four tanks: in three of four rooms one tank has a fault, in every eighth all share one, in some two have each
other's probes; the rest of the nights are benign. Seeds below 10,000 were used for tuning, those from 1,000,000 on are
for judging. Prints one table, then the nights that missed a target; ends with 1 when a target is missed.
"""

from __future__ import annotations

import argparse
import itertools
import sys
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
from tqdm import tqdm

from tests.trials.night_cases import BENIGN, OWN, OXYGEN_FAULTS, SHARED, SWAPPED, TANKS, room_of
from tests.trials.night_run import run
from tests.trials.night_scores import Marks, marks_of
from tests.trials.night_water import NOON_MS, said_by, water_of

TOGETHER = 30
"""Rooms whose water is reckoned at the same time."""
JUDGED = 1_000_000


@dataclass(frozen=True, slots=True)
class Target:
    """A line of the table: ours and the plain alarm's figure, the bounds ours should lie in, and of how many nights."""

    name: str
    ours: float
    plain: str
    low: float
    high: float
    unit: str
    count: int

    @property
    def met(self) -> bool:
        """Whether it is; a figure of no night is not."""
        return self.low <= self.ours <= self.high


def batch(seeds: Sequence[int]) -> list[Marks]:
    """The nights of some rooms."""
    rooms = [room_of(seed, NOON_MS) for seed in seeds]
    water = water_of(rooms)
    out = []
    for place, room in enumerate(rooms):
        columns = range(place * TANKS, (place + 1) * TANKS)
        said = [said_by(water, column, case) for column, case in zip(columns, room.cases, strict=True)]
        heard, _ = run(room.cases, said)
        out += [
            marks_of(case, column, water, heard[case.name]) for column, case in zip(columns, room.cases, strict=True)
        ]
    return out


def seeds_of(count: int, first: int, kinds: Sequence[str] = ()) -> list[int]:
    """The seeds of so many tank-nights; with kinds, of rooms that have such a night (for tuning, never for judging)."""
    rooms = range(-(-count // TANKS))
    if not kinds:
        return [first + room for room in rooms]
    wanted = (seed for seed in itertools.count(first) if {one.kind for one in room_of(seed, NOON_MS).cases} & {*kinds})
    return [next(wanted) for _ in rooms]


def nights(count: int, first: int, processes: int = 1, kinds: Sequence[str] = ()) -> list[Marks]:
    """So many tank-nights, from a seed on."""
    seeds = seeds_of(count, first, kinds)
    parts = [seeds[at : at + TOGETHER] for at in range(0, len(seeds), TOGETHER)]
    bar = tqdm(total=len(seeds) * TANKS, desc="tank-nights", file=sys.stderr)
    out: list[Marks] = []
    with bar, ProcessPoolExecutor(processes) as pool:
        for some in map(batch, parts) if processes == 1 else pool.map(batch, parts):
            out += some
            bar.update(len(some))
    return out[:count]


def targets(marks: Sequence[Marks]) -> list[Target]:
    """Every target with what was found."""
    danger = [one.before for one in marks if one.before is not None]
    oxygen = [one.lead_s / 60 for one in marks if one.lead_s is not None and one.kind in OXYGEN_FAULTS]
    heater = [one.lead_s / 60 for one in marks if one.lead_s is not None and one.kind == "heater on"]
    benign = [one for one in marks if one.benign]
    lies = [one.lied_told for one in marks if one.lied_told is not None]
    causes = [one.cause_right for one in marks if one.cause_right is not None]
    held = [flag for one in marks for flag in one.held]
    errors = [100 * one.hour_error for one in marks if one.hour_error is not None]
    plain = f"{100 * sum(one.plain > 0 for one in benign) / max(1, len(benign)):.2f}"
    urgent = 100 * sum(one.urgent > 0 for one in benign) / max(1, len(benign))
    return [
        Target("danger told before it comes", 100 * _mean(danger), _before(marks), 99.5, 100.0, "%", len(danger)),
        Target("lead on falling oxygen, median", _median(oxygen), "0", 45.0, 1e9, "min", len(oxygen)),
        Target("lead on a heater stuck on, median", _median(heater), "0", 30.0, 1e9, "min", len(heater)),
        Target("benign nights with an urgent alert", urgent, plain, 0.0, 0.5, "of 100", len(benign)),
        Target("lying or silent probe told in time", 100 * _mean(lies), "-", 99.0, 100.0, "%", len(lies)),
        Target("right cause named first", 100 * _mean(causes), "-", 90.0, 100.0, "%", len(causes)),
        Target("80 % intervals of time left hold", 100 * _mean(held), "-", 75.0, 85.0, "%", len(held)),
        Target("time left, median error at one hour", _median(errors), "-", 0.0, 15.0, "%", len(errors)),
    ]


def _before(marks: Sequence[Marks]) -> str:
    """The plain alarm's share of dangers it rang before."""
    rang = [
        one.plain_ms is not None and one.danger_ms is not None and one.plain_ms < one.danger_ms
        for one in marks
        if one.before is not None
    ]
    return f"{100 * _mean(rang):.1f}" if rang else "-"


def _mean(flags: Sequence[bool | None]) -> float:
    return float(np.mean([bool(one) for one in flags])) if flags else float("nan")


def _median(values: Sequence[float]) -> float:
    return float(np.median(values)) if values else float("nan")


def _cell(figure: float) -> str:
    if isinstance(figure, int):
        return str(figure)
    return f"{figure:.1f}" if np.isfinite(figure) else "-"


def table(marks: Sequence[Marks]) -> list[str]:
    """The one table, as Markdown."""
    lines = ["| target | ours | plain alarm | goal | nights |", "| --- | --- | --- | --- | --- |"]
    for one in targets(marks):
        goal = f"{one.low:g} or more" if one.high >= 100.0 and one.low else f"{one.high:g} or less"
        goal = f"{one.low:g} to {one.high:g}" if one.low and one.high < 100.0 else goal
        met = "" if one.met else " **missed**"
        lines.append(f"| {one.name} | {one.ours:.2f} {one.unit}{met} | {one.plain} | {goal} {one.unit} | {one.count} |")
    return lines


def by_kind(marks: Sequence[Marks]) -> list[str]:
    """How each kind of night fared."""
    heads = ("n", "danger", "before", "lie told", "cause", "urgent", "lesser", "doubted", "lead", "held")
    lines = [f"{'kind':28}" + "".join(f" {head:>8}" for head in heads) + "  called instead"]
    for kind in sorted({one.kind for one in marks}):
        some = [one for one in marks if one.kind == kind]
        wrong = Counter(one.cause for one in some if one.cause_right is False).most_common(3)
        cells = [
            len(some),
            sum(one.danger_ms is not None for one in some),
            100 * _mean([one.before for one in some if one.before is not None]),
            100 * _mean([one.lied_told for one in some if one.lied_told is not None]),
            100 * _mean([one.cause_right for one in some if one.cause_right is not None]),
            sum(one.urgent > 0 for one in some),
            sum(one.lesser > 0 for one in some),
            sum(one.doubted > 0 for one in some),
            _median([one.lead_s / 60 for one in some if one.lead_s is not None]),
            100 * _mean([flag for one in some for flag in one.held]),
        ]
        told = "".join(f" {_cell(one):>8}" for one in cells)
        lines.append(f"{kind:28}{told}  " + ", ".join(f"{name} {many}" for name, many in wrong))
    return lines


def failed(marks: Sequence[Marks], most: int) -> list[str]:
    """Nights that missed something, with their seed."""
    missed = [one for one in marks if one.because]
    return [
        f"seed {one.seed} tank {one.place}: {one.kind}, {one.volume_l:g} L, every {one.every_s} s: "
        + "; ".join(one.because)
        for one in missed[:most]
    ] + ([f"... and {len(missed) - most} more"] if len(missed) > most else [])


def main() -> int:
    """Run, print; 1 when a target is missed."""
    words = argparse.ArgumentParser(prog="python -m tests.trials.night")
    words.add_argument("--nights", type=int, default=10_000)
    words.add_argument("--first", type=int, default=JUDGED, help="the first room's seed")
    words.add_argument("--processes", type=int, default=2)
    words.add_argument("--failed", type=int, default=40, help="so many failed nights are shown")
    words.add_argument("--kind", action="append", default=[], choices=[*BENIGN, *OWN, *SHARED, SWAPPED], metavar="KIND",
                       help="only rooms that have a night of this kind (again for more); for tuning")  # fmt: skip
    asked = words.parse_args()
    if asked.kind and asked.first >= JUDGED:
        words.error(f"--kind is for tuning: give --first below {JUDGED}; the judged trial is never narrowed")
    marks = nights(asked.nights, asked.first, asked.processes, asked.kind)
    only = f", only rooms with: {', '.join(asked.kind)}" if asked.kind else ""
    print(f"{len(marks)} tank-nights, seeds from {asked.first}{only}\n")
    print("\n".join([*table(marks), "", *by_kind(marks), "", *failed(marks, asked.failed)]))
    return 0 if all(one.met for one in targets(marks)) else 1


if __name__ == "__main__":
    sys.exit(main())
