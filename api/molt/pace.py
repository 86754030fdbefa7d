"""The pace of a species in this room and of each animal in it, learned from their intervals and held to the prior.

A normal-normal model of ln K: effects of the species with priors, a deviation of each animal, noise of each interval;
what has not ended yet is right-censored, and what nobody saw is weighed (``latent``). The two spreads are found by
their marginal likelihood (empirical Bayes). Must not do: know a date.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from api.molt.evidence import Room, fit, likely_parts, room_of, weighed
from api.molt.intervals import PRIOR_SD, Intervals, Kind
from api.molt.latent import (
    Maturity,
    carried,
    learned_maturity,
    rows_of,
    stated_maturity,
    weigh,
)
from api.molt.species import Species
from api.science.arrays import Floats

NOISE, NOISE_LN_SD = 0.15, 0.35
"""Spread of ln(interval) within an animal, 0.06 to 0.20 in kozak_2009's juveniles; what is not known of it. [1, 1]"""
BETWEEN, BETWEEN_LN_SD = 0.30, 0.4
"""Spread between animals of a species, and what is not known of it. Judgement. [1, 1]"""
MISSED, MISSED_WEIGHT = 0.05, 30.0
"""Share of molts nobody noticed before anything is learned, worth so many molts. Judgement. [1]"""
ROUNDS = 6
ENOUGH = 250
"""The two spreads are found from so many animals at most; more would make them no better known than others' figures."""


@dataclass(frozen=True, slots=True)
class Pace:
    """What was learned of one species here.

    ``effects`` with ``covariance``; ``own`` and ``own_variance`` by animal; ``pull`` is how each animal's own deviation
    answers to a change of the effects; ``noise``, ``between``, ``missed``; ``mature``: how likely each animal is mature
    in its interval of now, before that interval itself is looked at.
    """

    effects: Floats
    covariance: Floats
    own: Floats
    own_variance: Floats
    pull: Floats
    noise: float
    between: float
    missed: float
    maturity: Maturity
    mature: Floats


def learn(rows: Intervals, animals: int, species: Species) -> Pace:
    """Pace of a species and its animals (numbered from 0) from their intervals; the prior where there are none."""
    whole, now = rows.kind == Kind.WHOLE, rows.kind >= Kind.SINCE_MOLT
    room = room_of(rows, animals, species)
    stated = maturity = stated_maturity(species.mature.value, species.mature.sd)
    spread, missed, effects = np.log([NOISE, BETWEEN]), MISSED, np.zeros(len(PRIOR_SD))
    noise, between = NOISE, BETWEEN
    mature = maturity.chance(room.whole.beyond)
    _believe_first(room, mature, maturity)
    for turn in range(ROUNDS):
        # first at the stated spreads: fitted at once, they would take unseen molts for noise and never let go
        if turn or not whole.any():
            spread = _spreads(room, spread, missed, effects)
            noise, between = (float(one) for one in np.exp(spread))
        effects, _, _ = fit(room, noise, between, missed, effects)
        missed, mature = _believe(room, noise, between, missed, effects, maturity)
        # intervals still running count too: those of animals that have just matured are the long ones
        beyond = np.concatenate((room.whole.beyond, room.part.beyond))
        maturity = learned_maturity(stated, beyond, np.concatenate((mature, room.part_belief[1])))
    effects, information, _ = fit(room, noise, between, missed, effects)
    at = weighed(room, noise, between)
    all_now = rows_of(rows, now)
    now_mature = np.zeros(animals)
    table = maturity.chance(room.whole.beyond)
    now_mature[rows.animal[now]] = carried(mature, table, all_now.before, maturity.chance(all_now.beyond))
    return Pace(
        effects=effects,
        covariance=np.asarray(np.linalg.inv(information), np.float64),
        own=at.own_variance * (at.sums - at.pull @ effects),
        own_variance=at.own_variance,
        pull=at.own_variance[:, None] * at.pull,
        noise=noise,
        between=between,
        missed=missed,
        maturity=maturity,
        mature=now_mature,
    )


def _believe_first(room: Room, mature: Floats, maturity: Maturity) -> None:
    """Before anything is learned: maturity by the table, no unseen molts."""
    room.belief[0, 0], room.belief[1, 0] = 1.0 - mature, mature
    chance = maturity.chance(room.part.beyond)
    room.part_belief[0], room.part_belief[1] = 1.0 - chance, chance


def _spreads(room: Room, start: Floats, missed: float, effects: Floats) -> Floats:
    """Logarithms of noise and spread between animals, at the top of the marginal likelihood with their priors."""
    from scipy.optimize import minimize

    middle, width = np.log([NOISE, BETWEEN]), np.array([NOISE_LN_SD, BETWEEN_LN_SD])
    room = _some(room)
    last = [effects]

    def against(at: Floats) -> float:
        noise, between = np.exp(np.clip(at, middle - 4 * width, middle + 4 * width))
        # from where the one before ended: near spreads have near effects
        last[0], _, evidence = fit(room, float(noise), float(between), missed, last[0])
        return float(0.5 * (((at - middle) / width) ** 2).sum() - evidence)

    simplex = start + np.array([[0.0, 0.0], [0.25, 0.0], [0.0, 0.25]])
    found = minimize(
        against, start, method="Nelder-Mead",
        options={"initial_simplex": simplex, "xatol": 0.03, "fatol": 0.03, "maxfev": 30},
    )  # fmt: skip
    return np.asarray(found.x, np.float64)


def _some(room: Room) -> Room:
    """The room, or a part of a large one."""
    step = -(-room.animals // ENOUGH)
    if step <= 1:
        return room
    whole, part = room.whole.animal % step == 0, room.part.animal % step == 0
    return Room(
        room.animals, room.whole.of(whole), room.part.of(part), room.belief[:, :, whole], room.part_belief[:, part],
        room.extra, room.prior_sd,
    )  # fmt: skip


def _believe(
    room: Room, noise: float, between: float, missed: float, effects: Floats, maturity: Maturity
) -> tuple[float, Floats]:
    """Weigh (in place) what nobody saw; the share of unseen molts, and of mature animals in each interval."""
    rows = room.whole
    at = weighed(room, noise, between)
    own_variance = at.own_variance[rows.animal]
    own = own_variance * (at.sums - at.pull @ effects)[rows.animal]
    fixed = rows.x @ effects
    # the animal without the interval in question, so that it does not vouch for itself
    rest = 1.0 / np.maximum(1.0 / own_variance - at.weight.sum(axis=0), 1e-6)
    rest = np.minimum(rest, between**2 + room.extra[rows.animal])
    rest_own = rest * (own / own_variance - (at.weight * (at.y - fixed)).sum(axis=0))
    total2 = noise**2 * rows.scale2 + rows.variance + rest
    room.belief, mature = weigh(rows, rows.y - fixed - rest_own, total2, missed, maturity)
    part = likely_parts(room, noise, missed, effects, at)
    table = maturity.chance(rows.beyond)
    chance = carried(mature, table, room.part.before, maturity.chance(room.part.beyond))
    likely = np.stack((1.0 - chance, chance)) * np.exp(part - part.max(axis=0, initial=-1e9))
    room.part_belief = likely / likely.sum(axis=0)
    cause = room.belief.sum(axis=0)
    lost = float((cause[1] + 2.0 * cause[2]).sum())
    seen = float(rows.kind.size)
    return min(0.3, max(0.005, (MISSED * MISSED_WEIGHT + lost) / (MISSED_WEIGHT + seen + lost))), mature
