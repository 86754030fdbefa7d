"""How good forecasts of molts were: windows that held, CRPS, and two plain ways a keeper has without any model.

Must not do: forecast with the truth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

from api.molt.chances import AHEAD_D
from api.molt.outlook import RoomOutlook, room_outlook
from api.molt.warmth import Warmth
from tests.trials.molt_colony import Colony
from tests.trials.molt_notes import DAY_MS, START_MS
from tests.trials.molt_record import Crayfish

Floats = NDArray[np.float64]
SPREADS = {"mean": 0.8, "table": 0.6}
"""Spread given to the plain ways so that they, too, are distributions: the best of many on the tuning colonies."""


@dataclass(frozen=True, slots=True)
class Case:
    """One forecast of one animal. Days count from its last look; ``truth_d`` infinite: not within what was lived.

    ``mean_d`` and ``table_d``: what the animal's mean interval so far and the species table say is left; None where
    they can say nothing. ``*_crps`` of the model, of those dates, and of those with a spread.
    """

    colony: int
    animal: int
    molts: int
    mature: bool
    truth_d: float
    in_50: bool
    in_80: bool
    model: float
    mean_date: float | None
    mean_spread: float | None
    table_date: float | None
    table_spread: float | None
    within_7d: float
    came_7d: bool


def forecast(colony: Colony, now_d: float) -> tuple[RoomOutlook, list[Crayfish]]:
    """The room as the clock sees it at a time, with the records of that time only."""
    now_ms = START_MS + round(now_d * DAY_MS)
    here = [one for one in colony.animals if one.arrived_d < now_d]
    water = {tank: warmth.until(now_ms) for tank, warmth in colony.water.items()}
    looked = {one.number: one.looked_ms(now_ms) for one in here}
    return room_outlook([one.life(now_ms) for one in here], water, now_ms, looked_ms=looked), here


def cases(colony: Colony, number: int, now_d: float, room: RoomOutlook, here: list[Crayfish]) -> list[Case]:
    """Every animal's forecast at a time beside what happened."""
    water = {tank: warmth.until(room.now_ms) for tank, warmth in colony.water.items()}
    out, molted = [], room.molted
    for at, (crayfish, told) in enumerate(zip(here, room.outlooks, strict=True)):
        life = crayfish.life(room.now_ms)
        look_ms = max(crayfish.looked_ms(room.now_ms), life.molts[-1].time_ms if life.molts else 0)
        look_d = (look_ms - START_MS) / DAY_MS
        later = crayfish.molts_d[crayfish.molts_d > look_d]
        truth_d = float(later[0]) - look_d if later.size else np.inf
        ends = [
            [(one - look_ms) / DAY_MS if one is not None else np.inf for one in window]
            for window in (told.window_50, told.window_80)
        ]
        mean_left, mean_age, mean_k = _mean(crayfish, room.now_ms, look_d)
        table_left, table_age, table_k = _table(colony, crayfish, room.now_ms, look_d, water)
        out.append(
            Case(
                number, crayfish.number, told.basis.own_molts, _mature(colony, crayfish, look_d), truth_d,
                ends[0][0] <= truth_d <= ends[0][1], ends[1][0] <= truth_d <= ends[1][1],
                crps(molted[at], truth_d),
                crps(_date(mean_left), truth_d) if mean_left is not None else None,
                crps(_spread(mean_age, mean_k, SPREADS["mean"]), truth_d) if mean_left is not None else None,
                crps(_date(table_left), truth_d) if table_left is not None else None,
                crps(_spread(table_age, table_k, SPREADS["table"]), truth_d) if table_left is not None else None,
                told.within_7d, truth_d <= now_d - look_d + 7.0,
            )
        )  # fmt: skip
    return out


def _mature(colony: Colony, crayfish: Crayfish, look_d: float) -> bool:
    length = crayfish.lengths_mm[int(np.searchsorted(crayfish.molts_d, look_d))]
    return bool(length > colony.truth.mature_mm)


def _mean(crayfish: Crayfish, now_ms: int, look_d: float) -> tuple[float | None, float, float]:
    """Its last molt and the mean of its intervals so far: days left, days gone, mean. [d]"""
    molts = [(one.first_ms + one.time_ms) / 2 for one in crayfish.life(now_ms).molts]
    if len(molts) < 2:
        return None, 0.0, 1.0
    mean_d = (molts[-1] - molts[0]) / (len(molts) - 1) / DAY_MS
    age_d = max(0.01, look_d - (molts[-1] - START_MS) / DAY_MS)
    return max(0.0, mean_d - age_d), age_d, mean_d


def _table(
    colony: Colony, crayfish: Crayfish, now_ms: int, look_d: float, water: dict[str, Warmth]
) -> tuple[float | None, float, float]:
    """Its last molt and the species table at its length and the tank's mean temperature since: as ``_mean``."""
    life, species = crayfish.life(now_ms), colony.truth.species
    if not life.molts:
        return None, 0.0, 1.0
    molt = life.molts[-1]
    since_ms = (molt.first_ms + molt.time_ms) // 2
    clock = water[crayfish.tank].clock(species.curve, species.usual_c)
    age_d = max(0.01, look_d - (since_ms - START_MS) / DAY_MS)
    ran = float(clock.between(since_ms, since_ms + round(age_d * DAY_MS))[0])
    rate = max(0.5, ran / age_d if age_d > 5 else clock.ahead(now_ms)[0])
    length = life.carapace_mm or species.mature.value * 0.6
    mature = length > species.mature.value
    k = np.exp(species.pace.value + 0.8 * np.log(length) + 0.95 * mature)
    return max(0.0, float(k / rate) - age_d), age_d, float(k / rate)


def _date(left_d: float) -> Floats:
    """One date as a curve."""
    return (AHEAD_D >= left_d).astype(np.float64)


def _spread(age_d: float, k_d: float, spread: float) -> Floats:
    """A log-normal interval given that it has lasted so long."""
    gone = log_ndtr(-(np.log(age_d / k_d)) / spread)
    out: Floats = 1.0 - np.exp(log_ndtr(-(np.log((age_d + AHEAD_D) / k_d)) / spread) - gone)
    return out


def crps(curve: Floats, truth_d: float) -> float:
    """Continuous ranked probability score of a curve over AHEAD_D, straight between its days. [d]"""
    fine = np.unique(np.concatenate((AHEAD_D, [min(truth_d, AHEAD_D[-1])])))
    values = np.interp(fine, AHEAD_D, curve)
    middle, widths = 0.5 * (values[1:] + values[:-1]), np.diff(fine)
    come = 0.5 * (fine[1:] + fine[:-1]) > truth_d
    # the mean square over a step in which the curve is straight, not the square of its middle
    square = (values[1:] - values[:-1]) ** 2 / 12.0
    return float((((middle - come) ** 2 + square) * widths).sum())
