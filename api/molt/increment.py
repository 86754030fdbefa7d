"""How much carapace an animal gains in a molt: the share that falls with size, the room's own molts, and Hiatt's line.

Must not do: forbid an animal to shrink; one that lost limbs or went hungry may.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import hypot

import numpy as np

from api.domain.errors import InputError

GAIN = ((10.0, 0.19), (22.0, 0.15), (37.0, 0.10), (55.0, 0.06))
"""Share of the carapace length gained, straight between these lengths and level outside. [mm, 1]

From the steps 20, 15, 10 and 6 % below 15, to 30, to 45 and above 45 mm: judgement on kozak_2009 (11 to 20 % in
juveniles), guan_wiles_1999 and the falling percentage of mauchline_1976."""
GAIN_SD = ((10.0, 0.05), (22.0, 0.04), (37.0, 0.03), (55.0, 0.03))
"""Spread of one gain about its mean. Judgement. [mm, 1]"""
SPECIES_SD, OWN_SD = 0.03, 0.02
"""How far a species, and one animal of it, may be off these shares. Judgement. [1]"""
Z80 = 1.2815515655446004
"""The middle 80 % of a normal distribution reach so many standard deviations."""


@dataclass(frozen=True, slots=True)
class Grown:
    """Carapace length before and after one molt of one animal. [mm]"""

    animal: int
    pre_mm: float
    post_mm: float


@dataclass(frozen=True, slots=True)
class NextLength:
    """The carapace length after the next molt, its 80 % range, and how many molts of it and its species it rests on."""

    mm: float
    low_mm: float
    high_mm: float
    own: int
    room: int


@dataclass(frozen=True, slots=True)
class HiattLine:
    """post = a + b pre by least squares; standard errors and spread, None from fewer than three molts or one length."""

    a_mm: float
    b: float
    a_se_mm: float | None
    b_se: float | None
    residual_sd_mm: float | None
    molts: int


def gain(carapace_mm: float) -> tuple[float, float]:
    """Share gained at a molt and its spread, by the length before it. [mm -> 1, 1]"""
    return _between(GAIN, carapace_mm), _between(GAIN_SD, carapace_mm)


def _between(points: tuple[tuple[float, float], ...], at: float) -> float:
    """Straight between the points, level outside."""
    for (x0, y0), (x1, y1) in pairwise(points):
        if at < x1:
            return y0 if at <= x0 else y0 + (y1 - y0) * (at - x0) / (x1 - x0)
    return points[-1][1]


def next_length(carapace_mm: float, animal: int | None, room: Sequence[Grown] = ()) -> NextLength:
    """The length after the next molt from one before it, from the table of shares and molts of its species here.

    Raises InputError for a length no crayfish has.
    """
    if not 1.0 <= carapace_mm <= 250.0:
        raise InputError(f"carapace length {carapace_mm:g} mm is outside 1 to 250 mm")
    good = [one for one in room if one.pre_mm > 0.0 and one.post_mm > 0.0]
    shift, shift_var, own = _shift(good, animal)
    mean, spread = gain(carapace_mm)
    mean += shift
    half = Z80 * hypot(spread, shift_var**0.5)
    at = [carapace_mm * (1.0 + share) for share in (mean, mean - half, mean + half)]
    return NextLength(at[0], at[1], at[2], own, len(good))


def _shift(room: Sequence[Grown], animal: int | None) -> tuple[float, float, int]:
    """How much more than the table an animal gains, its variance, and how many molts are its own (normal-normal)."""
    off: dict[int, list[float]] = {}
    weight: dict[int, list[float]] = {}
    for one in room:
        mean, spread = gain(one.pre_mm)
        off.setdefault(one.animal, []).append(one.post_mm / one.pre_mm - 1.0 - mean)
        weight.setdefault(one.animal, []).append(spread**-2)
    # each animal's mean gain tells of the species, with its own deviation and the noise of its molts between
    means = {
        key: (sum(o * w for o, w in zip(off[key], weight[key], strict=True)) / sum(weight[key]), 1.0 / sum(weight[key]))
        for key in off
    }
    precision = SPECIES_SD**-2 + sum(1.0 / (OWN_SD**2 + var) for _, var in means.values())
    species = sum(mean / (OWN_SD**2 + var) for mean, var in means.values()) / precision
    if animal not in means:
        return species, 1.0 / precision + OWN_SD**2, 0
    mean, var = means[animal]
    share = OWN_SD**2 / (OWN_SD**2 + var)
    return species + share * (mean - species), (1.0 - share) ** 2 / precision + share * var, len(off[animal])


def hiatt_line(room: Sequence[Grown]) -> HiattLine:
    """Hiatt's line through molts: length after against length before (mauchline_1976).

    Raises InputError for fewer than two molts, or when all began at one length.
    """
    pre, post = np.array([one.pre_mm for one in room]), np.array([one.post_mm for one in room])
    if pre.size < 2 or not np.isfinite(pre).all() or not np.isfinite(post).all() or float(np.ptp(pre)) == 0.0:
        raise InputError("a Hiatt line needs lengths before and after at least two molts, at two different lengths")
    centre = float(pre.mean())
    square = float(((pre - centre) ** 2).sum())
    b = float(((pre - centre) * (post - post.mean())).sum()) / square
    a = float(post.mean()) - b * centre
    if pre.size < 3:
        return HiattLine(a, b, None, None, None, int(pre.size))
    sd = float(np.sqrt(((post - a - b * pre) ** 2).sum() / (pre.size - 2)))
    return HiattLine(a, b, sd * (1.0 / pre.size + centre**2 / square) ** 0.5, sd / square**0.5, sd, int(pre.size))
