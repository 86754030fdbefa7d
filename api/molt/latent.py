"""What nobody saw of an interval: whether its animal was mature, and whether a molt went unnoticed in it.

Both are weighed by how long the interval was beside what else is known of the animal. Must not do: settle on one
answer; every interval keeps the share of each.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log

import numpy as np
from numpy.typing import NDArray

from api.molt.intervals import Intervals, Kind, as_state
from api.molt.past import GUESS_SD
from api.molt.species import SIZE_EXPONENT
from api.science.arrays import Floats

STATES = (0, 1)
SEVERAL: Floats = np.log(np.array([1.0, 2.1, 3.31]))
"""An interval with no, one or two unseen molts in it, beside one; each is longer by the growth between."""
STRAY, STRAY_SD = 0.01, 1.0
"""Share of intervals that something else made, and their spread: keeps one odd record from moving the rest."""
MATURE_NOISE = 0.8
"""Intervals of mature animals spread by this share more. Judgement (0.25 to 0.35 in adults). [1]"""
SEX_SD = 0.25
"""Half of what lies between mature males and females, where the sex is not known. [1]"""


@dataclass(frozen=True, slots=True)
class Rows:
    """Intervals as the model needs them: first axis the state (immature, mature), second the row.

    ``y`` is ln of the degree-days beside what is stated; ``variance`` what is not the animal's own noise;
    ``scale2`` multiplies the variance of that; ``before``: place of the row before it of the same animal, -1: none.
    """

    animal: NDArray[np.intp]
    x: Floats
    y: Floats
    variance: Floats
    scale2: Floats
    kind: NDArray[np.intp]
    beyond: Floats
    before: NDArray[np.intp]

    def of(self, some: NDArray[np.bool_]) -> Rows:
        """Some of the rows, for sums only: ``before`` no longer counts."""
        return Rows(
            self.animal[some], self.x[:, some], self.y[:, some], self.variance[:, some], self.scale2[:, some],
            self.kind[some], self.beyond[some], self.before[some],
        )  # fmt: skip


def rows_of(rows: Intervals, picked: NDArray[np.bool_]) -> Rows:
    """Some intervals in both states; ``before`` counts among those that are whole."""
    mine = rows.of(picked)
    states = [as_state(mine, state) for state in STATES]
    size = np.where(mine.size_sd < GUESS_SD, (SIZE_EXPONENT * mine.size_sd) ** 2, 0.0)
    ran = [np.maximum(mine.ran.thermal, 1.0), np.maximum(mine.ran.degree_days, 1.0)]
    unsexed = (mine.male == 0.5) * SEX_SD**2
    variance = np.stack([np.minimum(mine.end_variance / one**2, 4.0) + size for one in ran])
    variance[1] += unsexed
    return Rows(
        animal=mine.animal,
        x=np.stack([one.x for one in states]),
        y=np.stack([one.y for one in states]),
        variance=variance,
        scale2=np.stack([np.full(mine.animal.size, (1.0 + MATURE_NOISE * state) ** 2) for state in STATES]),
        kind=mine.kind,
        beyond=mine.beyond,
        before=_before(rows, rows.kind == Kind.WHOLE)[picked],
    )


def _before(rows: Intervals, ended: NDArray[np.bool_]) -> NDArray[np.intp]:
    """For every row, the place among the whole ones of the row before it of the same animal; -1: none."""
    place = np.cumsum(ended) - 1
    out = np.full(ended.size, -1)
    same = (rows.animal[1:] == rows.animal[:-1]) & ended[:-1]
    out[1:][same] = place[:-1][same]
    return out


@dataclass(frozen=True, slots=True)
class Maturity:
    """At which length animals of a species mature here: ``shift`` of its logarithm off the table, with its spread."""

    shift: float
    shift_sd: float
    width: float

    def chance(self, beyond: Floats) -> Floats:
        """How likely an animal of this length is mature. [1]"""
        # a logistic curve spread by a normal one is near a wider logistic curve
        width = np.sqrt(self.width**2 + np.pi / 8.0 * self.shift_sd**2)
        out: Floats = 1.0 / (1.0 + np.exp(np.clip((self.shift - beyond) / width, -40.0, 40.0)))
        return out


def stated_maturity(middle_mm: float, sd_mm: float) -> Maturity:
    """The table's length, before any animal of the room has shown otherwise."""
    return Maturity(0.0, max(0.02, 0.8 * sd_mm / middle_mm), max(0.03, 0.35 * sd_mm / middle_mm))


def learned_maturity(stated: Maturity, beyond: Floats, mature: Floats) -> Maturity:
    """The length at which intervals here turn into those of mature animals, held to the table's."""
    shift, information = 0.0, stated.shift_sd**-2
    for _ in range(8):
        chance = 1.0 / (1.0 + np.exp(np.clip((shift - beyond) / stated.width, -40.0, 40.0)))
        slope = float((chance - mature).sum()) / stated.width - shift / stated.shift_sd**2
        information = float((chance * (1.0 - chance)).sum()) / stated.width**2 + stated.shift_sd**-2
        shift += float(np.clip(slope / information, -0.1, 0.1))
    return Maturity(shift, information**-0.5, stated.width)


def weigh(rows: Rows, off: Floats, total2: Floats, missed: float, maturity: Maturity) -> tuple[Floats, Floats]:
    """Share of each state and cause of each whole interval, and how likely its animal was mature at all in it.

    ``off``: how far ln of it is off what else is known, by state; ``total2`` the variance of that. Once mature, an
    animal stays so: the chance goes on from interval to interval. Shape of the first: state, cause, row.
    """
    stray2 = total2 + STRAY_SD**2
    logs = [log(share) - 0.5 * (off - more) ** 2 / total2 for share, more in zip(shares(missed), SEVERAL, strict=True)]
    logs.append(log(STRAY) - 0.5 * off**2 / stray2)
    cause = np.stack(logs, axis=1)
    cause[:, :3] -= 0.5 * np.log(total2)[:, None]
    cause[:, 3] -= 0.5 * np.log(stray2)
    top = cause.max(axis=(0, 1))
    share = np.exp(cause - top)
    each = share.sum(axis=1)
    mature = np.zeros(rows.kind.size)
    table = maturity.chance(rows.beyond)
    for place in _by_rank(rows.before):
        chance = carried(mature, table, rows.before[place], table[place])
        likely = chance * each[1, place]
        mature[place] = likely / np.maximum(likely + (1.0 - chance) * each[0, place], 1e-300)
    state = np.stack((1.0 - mature, mature)) / np.maximum(each, 1e-300)
    return share * state[:, None], mature


def carried(mature: Floats, table: Floats, before: NDArray[np.intp], now: Floats) -> Floats:
    """How likely an animal is mature by the table, given how likely it was in the interval before."""
    known = before >= 0
    then = np.where(known, mature[before], 0.0) if mature.size else np.zeros(now.size)
    by_then = np.where(known, table[before], 0.0) if mature.size else np.zeros(now.size)
    out: Floats = 1.0 - (1.0 - then) * np.minimum(1.0, (1.0 - now) / np.maximum(1.0 - by_then, 1e-9))
    return np.clip(out, 1e-6, 1.0 - 1e-6)


def _by_rank(before: NDArray[np.intp]) -> list[NDArray[np.intp]]:
    """Rows in the order in which each has the one before it done."""
    rank = np.zeros(before.size, np.intp)
    for place, other in enumerate(before.tolist()):
        if other >= 0:
            rank[place] = rank[other] + 1
    return [np.flatnonzero(rank == one) for one in range(int(rank.max(initial=-1)) + 1)]


def shares(missed: float) -> tuple[float, float, float]:
    """How likely an interval holds no, one or two unseen molts."""
    return 1.0 - missed, missed * (1.0 - missed), missed**2
