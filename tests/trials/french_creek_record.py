"""The French Creek record of 2012 as it came: readings that can be used, hours of dark, and breaks.

Must not do: mend a reading; what is left out is counted by reason.
"""

from __future__ import annotations

import csv
import math
from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np

LATITUDE, LONGITUDE, UTC_OFFSET_H = 41.33, -106.3, -6.0
"""As in the program published with the data (R package streamMetabolizer, file R/load_french_creek.R)."""
TWILIGHT_H = 0.5
LONGEST_STEP_H, SHORT_GAP_H, SIDE_H = 0.12, 1.0, 0.5


@dataclass(frozen=True, slots=True)
class Row:
    """One reading of one logger, in local time."""

    sonde: str
    time: datetime
    temperature_c: float
    oxygen_mg_l: float


@dataclass(frozen=True, slots=True)
class Jump:
    """A break in the record; its step of oxygen has a standard error where the break is short."""

    before: Row
    after: Row
    gap_h: float
    step_mg_l: float
    step_se_mg_l: float


def read(path: Path) -> tuple[list[Row], Counter[str]]:
    """Readings a logger can have made, first of each time, and how many rows were left out for which reason."""
    rows: dict[tuple[str, datetime], Row] = {}
    left: Counter[str] = Counter()
    with path.open(newline="", encoding="utf-8") as lines:
        for line in csv.DictReader(lines):
            at = f"{line['date']} {line['time']}"
            time = datetime.strptime(at, "%m/%d/%Y %H:%M:%S")  # noqa: DTZ007 (local time, as filed)
            row = Row(line["sonde"], time, *(float(line[name].replace("NA", "nan")) for name in ("temp", "oxy")))
            why = _unusable(row)
            if not why and rows.setdefault((row.sonde, time), row) is not row:
                why = "a second row of the same time"
            left.update([why] if why else [])
    return sorted(rows.values(), key=lambda row: (row.time, row.sonde)), left


def _unusable(row: Row) -> str:
    if math.isnan(row.temperature_c) or math.isnan(row.oxygen_mg_l):
        return "no value (NA)"
    if any(abs(value * 100 - round(value * 100)) > 1e-6 for value in (row.temperature_c, row.oxygen_mg_l)):
        return "more decimals than the loggers have (filled in by someone)"
    if not 0.0 <= row.temperature_c <= 40.0:
        return "temperature outside 0 to 40 Cel"
    return "" if row.oxygen_mg_l >= 1.0 else "oxygen below 1 mg/L"


def darkness(evening: date) -> tuple[datetime, datetime]:
    """Half an hour after sunset to half an hour before sunrise, local time.

    The Astronomical Almanac's low-precision place of the sun: good to a minute or two.
    """
    days = (evening - date(2000, 1, 1)).days + 0.8
    mean, anomaly = (280.460 + 0.9856474 * days) % 360.0, math.radians(357.528 + 0.9856003 * days)
    along = math.radians(mean + 1.915 * math.sin(anomaly) + 0.020 * math.sin(2 * anomaly))
    tilt, latitude = math.radians(23.44), math.radians(LATITUDE)
    declination = math.asin(math.sin(tilt) * math.sin(along))
    right_ascension = math.degrees(math.atan2(math.cos(tilt) * math.sin(along), math.cos(along)))
    ahead_h = ((mean - right_ascension + 180.0) % 360.0 - 180.0) / 15.0
    cosine = math.sin(math.radians(-0.833)) - math.sin(latitude) * math.sin(declination)
    half_day_h = math.degrees(math.acos(cosine / (math.cos(latitude) * math.cos(declination)))) / 15.0
    midnight = datetime(evening.year, evening.month, evening.day)  # noqa: DTZ001 (local time, as filed)
    noon = midnight + timedelta(hours=12.0 + UTC_OFFSET_H - LONGITUDE / 15.0 - ahead_h)
    return noon + timedelta(hours=half_day_h + TWILIGHT_H), noon + timedelta(hours=24.0 - half_day_h - TWILIGHT_H)


def jumps(rows: list[Row]) -> list[Jump]:
    """Every break longer than one five-minute step, and every change of logger."""
    told = []
    for before, after in pairwise(rows):
        gap_h = (after.time - before.time).total_seconds() / 3600.0
        if gap_h > LONGEST_STEP_H or before.sonde != after.sonde:
            told.append(Jump(before, after, gap_h, *_step(rows, before, after)))
    return told


def _step(rows: list[Row], before: Row, after: Row) -> tuple[float, float]:
    """Difference of two lines through half an hour on each side, at the middle of the gap; plain difference if long."""
    if (after.time - before.time) > timedelta(hours=SHORT_GAP_H):
        return after.oxygen_mg_l - before.oxygen_mg_l, math.nan
    middle, side = before.time + (after.time - before.time) / 2, timedelta(hours=SIDE_H)
    levels = [
        _level(rows, middle, *span) for span in ((before.time - side, before.time), (after.time, after.time + side))
    ]
    return levels[1][0] - levels[0][0], (levels[0][1] + levels[1][1]) ** 0.5


def _level(rows: list[Row], middle: datetime, low: datetime, high: datetime) -> tuple[float, float]:
    """Oxygen of a straight line at a time, and its variance."""
    near = [row for row in rows if low <= row.time <= high]
    hours = np.array([(row.time - middle).total_seconds() / 3600.0 for row in near])
    design = np.column_stack([np.ones_like(hours), hours])
    oxygen = np.array([row.oxygen_mg_l for row in near])
    found = np.linalg.lstsq(design, oxygen, rcond=None)[0]
    rest = oxygen - design @ found
    variance = float(rest @ rest) / max(len(near) - 2, 1) * float(np.linalg.inv(design.T @ design)[0, 0])
    return float(found[0]), variance


def same_clock(rows: list[Row], jump: Jump) -> list[tuple[Row, Row]]:
    """Readings after a long break with those before it, a whole number of days apart, for as long as both last."""
    apart = timedelta(days=math.ceil(jump.gap_h / 24.0))
    earlier = {row.time + apart: row for row in rows if row.time <= jump.before.time}
    until = jump.before.time + apart
    return [(earlier[row.time], row) for row in rows if jump.after.time <= row.time <= until and row.time in earlier]
