"""Night regression on a real stream: two loggers in French Creek, Wyoming, every five minutes for five weeks of 2012.

    python -m tests.trials.french_creek FILE

Prints the table of nights, how the two loggers compare, the breaks where one was taken out or gave way to the other,
and what the nights say of the pressure. Must not do: choose among readings by what comes out of them.
"""

from __future__ import annotations

import argparse
import math
import sys
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np

from api.domain.errors import InputError
from api.science.exchange import NightRegression, k20_from, k600_from, night_regression, schmidt_oxygen
from api.science.oxygen import percent_saturation, saturation_mg_l
from tests.trials.french_creek_record import SHORT_GAP_H, Jump, Row, darkness, jumps, read, same_clock

PRESSURE_KPA = 523 / 760 * 101.325
"""523 mmHg, about 10,000 ft, as in the program published with the data (streamMetabolizer, R/load_french_creek.R)."""
PRESSURES_KPA = (66.0, 68.0, PRESSURE_KPA, 72.0, 74.0, 77.5, 80.0)
BLOCK_H, FEWEST_PAIRS = 0.25, 12


@dataclass(frozen=True, slots=True)
class Night:
    """What one logger said of one night, named by its evening."""

    evening: date
    sonde: str
    temperature_c: float
    percent: float
    found: NightRegression | None
    refusal: str

    def k20_per_h(self) -> tuple[float, float]:
        """Exchange rate brought to 20 Cel with its standard error; not a number where there is none. [1/h]"""
        if self.found is None or self.found.k_per_h.value < 0.0:
            return math.nan, math.nan
        k = self.found.k_per_h
        return k20_from(k.value, self.temperature_c), k20_from(k.se, self.temperature_c)


def nights(rows: list[Row], pressure_kpa: float = PRESSURE_KPA, block_h: float | None = BLOCK_H) -> list[Night]:
    """Every night of every logger that has readings in it."""
    first, last = rows[0].time.date() - timedelta(days=1), rows[-1].time.date()
    told = []
    for number in range((last - first).days + 1):
        evening = first + timedelta(days=number)
        dusk, dawn = darkness(evening)
        for sonde in sorted({row.sonde for row in rows}):
            dark = [row for row in rows if row.sonde == sonde and dusk <= row.time <= dawn]
            if dark:
                told.append(_night(evening, sonde, dark, pressure_kpa, block_h))
    return told


def columns(dark: list[Row], pressure_kpa: float) -> tuple[list[float], list[float], list[float]]:
    """Hours, oxygen and saturation of the readings of a night."""
    hours = [(row.time - dark[0].time).total_seconds() / 3600.0 for row in dark]
    saturation = [float(saturation_mg_l(row.temperature_c, pressure_kpa)) for row in dark]
    return hours, [row.oxygen_mg_l for row in dark], saturation


def _night(evening: date, sonde: str, dark: list[Row], pressure_kpa: float, block_h: float | None) -> Night:
    hours, oxygen, saturation = columns(dark, pressure_kpa)
    temperature_c = float(np.mean([row.temperature_c for row in dark]))
    percent = 100.0 * float(np.mean(np.array(oxygen) / saturation))
    try:
        found = night_regression(hours, oxygen, saturation, block_h=block_h)
    except InputError as why:
        return Night(evening, sonde, temperature_c, percent, None, str(why))
    return Night(evening, sonde, temperature_c, percent, found, "")


def mean_k20(table: list[Night], sonde: str) -> tuple[float, float, int]:
    """Mean K at 20 Cel over a logger's nights that tell it, its standard error from their scatter, their number."""
    told = [night for night in table if night.sonde == sonde and night.found and night.found.told]
    values = np.array([night.k20_per_h()[0] for night in told])
    if len(values) < 2:
        return math.nan, math.nan, len(values)
    return float(values.mean()), float(values.std(ddof=1)) / len(values) ** 0.5, len(values)


def night_lines(table: list[Night]) -> list[str]:
    """The table of nights as text."""
    lines = ["evening     logger pairs   Cel   %sat   K /h          K /d  K600 /d  ER mg/L/h        r2   lag1  told"]
    for night in table:
        head = f"{night.evening}  {night.sonde:<6}"
        middle = f"{night.temperature_c:5.1f}  {night.percent:5.1f}"
        if night.found is None:
            lines.append(f"{head}    -  {middle}  {night.refusal}")
            continue
        k, respiration, found = night.found.k_per_h, night.found.respiration_mg_l_h, night.found
        k600 = k600_from(k.value, schmidt_oxygen(min(max(night.temperature_c, 4.0), 35.0)))
        rates = f"{k.value:5.2f} ± {k.se:4.2f}  {24 * k.value:5.1f}  {24 * k600:7.1f}"
        end = f"{respiration.value:5.2f} ± {respiration.se:4.2f}  {found.r2:5.2f}  {found.lag1:5.2f}"
        lines.append(f"{head} {found.pairs:4d}  {middle}  {rates}  {end}  {'yes' if found.told else 'no'}")
    return lines


def compare_lines(rows: list[Row], table: list[Night]) -> list[str]:
    """How the two loggers compare: shared times, means of K, and the nights on both sides of the change."""
    times = {sonde: {row.time for row in rows if row.sonde == sonde} for sonde in sorted({row.sonde for row in rows})}
    shared = set.intersection(*times.values()) if len(times) > 1 else set()
    lines = [f"times at which both loggers have a reading: {len(shared)}"]
    for sonde in times:
        k, se, count = mean_k20(table, sonde)
        lines.append(f"{sonde}: K at 20 Cel {k:.2f} ± {se:.2f} /h, mean of {count} nights, error from their scatter")
    for one, other in pairwise(table):
        if one.sonde != other.sonde and one.found is not None and other.found is not None:
            lines.append(f"across the change, nights of {one.evening} {one.sonde} and {other.evening} {other.sonde}:")
            lines.append(_across("K at 20 Cel, /h", one.k20_per_h(), other.k20_per_h()))
            before, after = one.found.respiration_mg_l_h, other.found.respiration_mg_l_h
            lines.append(_across("ER, mg/L/h", (before.value, before.se), (after.value, after.se)))
            lines.append(f"  percent of saturation in the dark: {one.percent:.1f} to {other.percent:.1f}")
    return lines


def _across(name: str, before: tuple[float, float], after: tuple[float, float]) -> str:
    apart = (after[0] - before[0]) / math.hypot(before[1], after[1])
    return f"  {name}: {before[0]:.2f} to {after[0]:.2f}, {apart:+.1f} standard errors"


def jump_lines(rows: list[Row], found: list[Jump], pressure_kpa: float) -> list[str]:
    """The breaks as text; long ones with the same clock times some days before."""
    lines = []
    for jump in found:
        before, after = jump.before, jump.after
        names = before.sonde if before.sonde == after.sonde else f"{before.sonde} to {after.sonde}"
        error = "" if math.isnan(jump.step_se_mg_l) else f" ± {jump.step_se_mg_l:.3f}"
        lines.append(
            f"{before.time:%m-%d %H:%M} to {after.time:%m-%d %H:%M} {names:<12} {jump.gap_h:6.2f} h: "
            f"{before.oxygen_mg_l:.2f} to {after.oxygen_mg_l:.2f} mg/L, step {jump.step_mg_l:+.3f}{error}, "
            f"{before.temperature_c:.1f} to {after.temperature_c:.1f} Cel"
        )
        pairs = same_clock(rows, jump) if jump.gap_h > SHORT_GAP_H else []
        if len(pairs) >= FEWEST_PAIRS:
            change = np.array([new.oxygen_mg_l - old.oxygen_mg_l for old, new in pairs])
            points = np.array([_percent(new, pressure_kpa) - _percent(old, pressure_kpa) for old, new in pairs])
            lines.append(
                f"    {len(pairs)} pairs of the same clock time {math.ceil(jump.gap_h / 24)} days apart: "
                f"{change.mean():+.3f} mg/L (scatter {change.std(ddof=1):.3f}), "
                f"{points.mean():+.1f} points of saturation (scatter {points.std(ddof=1):.1f})"
            )
    return lines


def _percent(row: Row, pressure_kpa: float) -> float:
    return float(percent_saturation(row.oxygen_mg_l, row.temperature_c, pressure_kpa))


def pressure_lines(rows: list[Row]) -> list[str]:
    """What the nights say of the pressure: a wrong one makes the deficit run with temperature."""
    lines = []
    for pressure_kpa in PRESSURES_KPA:
        found = [night.found for night in nights(rows, pressure_kpa) if night.found]
        told = [each for each in found if each.told]
        rest = (sum(each.residual_sd_mg_l_h**2 for each in told) / max(len(told), 1)) ** 0.5
        lines.append(
            f"{pressure_kpa:6.2f} kPa: {len(told):2d} of {len(found)} nights tell K, median r2 of all "
            f"{float(np.median([each.r2 for each in found])):.2f}, residual of those told {rest:.3f} mg/L/h"
        )
    return lines


def main(given: list[str] | None = None) -> int:
    """Print the trial; 0 when it ran."""
    parser = argparse.ArgumentParser(prog="python -m tests.trials.french_creek", description="Night table of a stream.")
    parser.add_argument("file", type=Path)
    parser.add_argument("--pressure-kpa", type=float, default=PRESSURE_KPA, help="station (default %(default).2f kPa)")
    parser.add_argument("--block-h", type=float, default=BLOCK_H, help="average over blocks (default %(default)s h)")
    asked = parser.parse_args(given)
    rows, left = read(asked.file)
    table = nights(rows, asked.pressure_kpa, asked.block_h)
    print(f"{len(rows)} readings used; left out: {dict(left)}")
    print(f"station pressure {asked.pressure_kpa:.2f} kPa, blocks of {asked.block_h} h")
    print("dark: half an hour after sunset to half an hour before sunrise\n")
    for title, lines in (
        ("Nights", night_lines(table)),
        ("The two loggers", compare_lines(rows, table)),
        ("Breaks of the record", jump_lines(rows, jumps(rows), asked.pressure_kpa)),
        ("What the nights say of the pressure", pressure_lines(rows)),
    ):
        print(title, *lines, "", sep="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
