"""The pace of a species in this room and of each animal in it, learned from their intervals and held to the prior.

A normal-normal model of ln K: effects of the species with priors, a deviation of each animal, noise of each interval;
what has not ended yet is right-censored, and what nobody saw is weighed (``latent``). The two spreads are found by
their marginal likelihood (empirical Bayes). Must not do: know a date.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from api.molt.intervals import LEAST, PRIOR_SD, Intervals, Kind
from api.molt.latent import (
    SEVERAL,
    STRAY_SD,
    Maturity,
    Rows,
    carried,
    learned_maturity,
    rows_of,
    shares,
    stated_maturity,
    weigh,
)
from api.molt.past import GUESS_SD
from api.molt.species import SIZE_EXPONENT, Species
from api.science.arrays import Floats

NOISE, NOISE_LN_SD = 0.15, 0.35
"""Spread of ln(interval) within an animal, 0.06 to 0.20 in kozak_2009's juveniles; what is not known of it. [1, 1]"""
BETWEEN, BETWEEN_LN_SD = 0.30, 0.4
"""Spread between animals of a species, and what is not known of it. Judgement. [1, 1]"""
MISSED, MISSED_WEIGHT = 0.05, 30.0
"""Share of molts nobody noticed before anything is learned, worth so many molts. Judgement. [1]"""
FOREVER = 1e-3
"""Share of intervals still running that are taken to say nothing: keeps one odd record from moving the rest."""
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


@dataclass(slots=True)
class _Room:
    """Ended intervals, those still running, and what is believed of them so far."""

    animals: int
    ended: Rows
    going: Rows
    belief: Floats
    going_belief: Floats
    extra: Floats
    prior_sd: Floats


@dataclass(frozen=True, slots=True)
class _Weighed:
    """Ended intervals at given spreads and beliefs: weight and value of each, and what is left of the likelihood.

    ``own_variance``, ``pull`` and ``sums``: each animal's variance after its own intervals, and the weighted sums its
    deviation comes from.
    """

    weight: Floats
    y: Floats
    rest: float
    own_variance: Floats
    pull: Floats
    sums: Floats


def learn(rows: Intervals, animals: int, species: Species) -> Pace:
    """Pace of a species and its animals (numbered from 0) from their intervals; the prior where there are none."""
    ended = rows.kind <= Kind.FROM_ARRIVAL
    now = np.flatnonzero(~ended)
    room = _room(rows, animals, ended, species)
    stated = maturity = stated_maturity(species.mature.value, species.mature.sd)
    spread, missed, effects = np.log([NOISE, BETWEEN]), MISSED, np.zeros(len(PRIOR_SD))
    noise, between = NOISE, BETWEEN
    mature = maturity.chance(room.ended.beyond)
    _believe_first(room, mature, maturity)
    for turn in range(ROUNDS if ended.any() else 1):
        # first at the stated spreads: fitted at once, they would take unseen molts for noise and never let go
        if turn or not ended.any():
            spread = _spreads(room, spread, missed, effects)
            noise, between = (float(one) for one in np.exp(spread))
        effects, _, _ = _fit(room, noise, between, missed, effects)
        missed, mature = _believe(room, noise, between, missed, effects, maturity)
        # intervals still running count too: those of animals that have just matured are the long ones
        beyond = np.concatenate((room.ended.beyond, room.going.beyond))
        maturity = learned_maturity(stated, beyond, np.concatenate((mature, room.going_belief[1])))
    effects, information, _ = _fit(room, noise, between, missed, effects)
    at = _weighed(room, noise, between)
    all_now = rows_of(rows, ~ended, ended)
    now_mature = np.zeros(animals)
    table = maturity.chance(room.ended.beyond)
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


def _room(rows: Intervals, animals: int, ended: NDArray[np.bool_], species: Species) -> _Room:
    going = ~ended & (rows.ran.degree_days > LEAST)
    extra = np.zeros(animals)
    extra[rows.animal[rows.size_sd >= GUESS_SD]] = (SIZE_EXPONENT * GUESS_SD) ** 2
    prior_sd = np.array(PRIOR_SD)
    prior_sd[0] = species.pace.sd
    return _Room(
        animals=animals,
        ended=rows_of(rows, ended, ended),
        going=rows_of(rows, going, ended),
        belief=np.zeros((2, 4, int(np.count_nonzero(ended)))),
        going_belief=np.zeros((2, int(np.count_nonzero(going)))),
        extra=extra,
        prior_sd=prior_sd,
    )


def _believe_first(room: _Room, mature: Floats, maturity: Maturity) -> None:
    """Before anything is learned: maturity by the table, no unseen molts."""
    room.belief[0, 0], room.belief[1, 0] = 1.0 - mature, mature
    chance = maturity.chance(room.going.beyond)
    room.going_belief[0], room.going_belief[1] = 1.0 - chance, chance


def _weighed(room: _Room, noise: float, between: float) -> _Weighed:
    rows = room.ended
    spread2 = noise**2 * rows.scale2 + rows.variance
    stray2 = spread2 + STRAY_SD**2
    usual, odd = room.belief[:, :3].sum(axis=1), room.belief[:, 3]
    mean = np.einsum("k,skn->sn", SEVERAL, room.belief[:, :3]) / np.maximum(usual, 1e-12)
    square = np.einsum("k,skn->sn", SEVERAL**2, room.belief[:, :3]) / np.maximum(usual, 1e-12) - mean**2
    plain, strayed = usual / spread2, odd / stray2
    weight = np.maximum(plain + strayed, 1e-12)
    rest = -0.5 * float((plain * square + plain * strayed / weight * mean**2).sum())
    rest -= 0.5 * float((usual * np.log(spread2) + odd * np.log(stray2)).sum())
    y = rows.y - plain / weight * mean
    per = [
        np.bincount(rows.animal, (weight * rows.x[:, :, column]).sum(axis=0), room.animals)
        for column in range(rows.x.shape[2])
    ]
    sums: Floats = np.bincount(rows.animal, (weight * y).sum(axis=0), room.animals).astype(np.float64)
    prior = between**2 + room.extra
    held = 1.0 + prior * np.bincount(rows.animal, weight.sum(axis=0), room.animals)
    rest -= 0.5 * float(np.log(held).sum())
    return _Weighed(weight, y, rest, prior / held, np.column_stack(per), sums)


def _fit(room: _Room, noise: float, between: float, missed: float, start: Floats) -> tuple[Floats, Floats, float]:
    """The effects at given spreads by Newton's method; their information, and the logarithm of the evidence."""
    at = _weighed(room, noise, between)
    x, weight, y = room.ended.x.reshape(-1, start.size), at.weight.ravel(), at.y.ravel()
    gauss = (x * weight[:, None]).T @ x - (at.pull * at.own_variance[:, None]).T @ at.pull
    gauss += np.diag(room.prior_sd**-2)
    linear = x.T @ (weight * y) - at.pull.T @ (at.own_variance * at.sums)
    effects, information = start, gauss
    for _ in range(12):
        slope, curve, _, _ = _open(room, noise, missed, effects, at)
        information = gauss + curve
        step = np.linalg.solve(information, linear - gauss @ effects + slope)
        largest = float(np.abs(step).max())
        effects = effects + step * min(1.0, 0.5 / max(largest, 1e-12))
        if largest < 1e-4:
            break
    value = at.rest + _open(room, noise, missed, effects, at)[2]
    value -= 0.5 * float(weight @ (y - x @ effects) ** 2)
    value += 0.5 * float(at.own_variance @ (at.sums - at.pull @ effects) ** 2)
    value -= 0.5 * float(((effects / room.prior_sd) ** 2).sum()) + 0.5 * float(np.linalg.slogdet(information)[1])
    return effects, information, value


def _open(
    room: _Room, noise: float, missed: float, effects: Floats, own: _Weighed
) -> tuple[Floats, Floats, float, Floats]:
    """What intervals still running say: that they are longer than this, or that a molt went unseen.

    Slope and curve by the effects, value, and how likely each is to last so long, by state.
    """
    from scipy.special import ndtr

    rows, at = room.going, room.going.animal
    x = rows.x - (own.own_variance[at, None] * own.pull[at])[None]
    spread = np.sqrt(noise**2 * rows.scale2 + rows.variance + own.own_variance[at])
    z = (rows.y - own.own_variance[at] * own.sums[at] - x @ effects) / spread
    lasting, density, bend = np.full(z.shape, FOREVER), np.zeros(z.shape), np.zeros(z.shape)
    for share, longer in zip(shares(missed), SEVERAL, strict=True):
        z_k = z - longer / spread
        here = (1.0 - FOREVER) * share * np.exp(-0.5 * z_k**2) / np.sqrt(2.0 * np.pi)
        lasting += (1.0 - FOREVER) * share * ndtr(-z_k)
        density += here
        bend += here * z_k
    pressure = density / lasting
    curve = np.clip(pressure**2 - bend / lasting, 0.0, 1.0) * room.going_belief
    flat = (x / spread[:, :, None]).reshape(-1, effects.size)
    slope = flat.T @ (pressure * room.going_belief).ravel()
    value = float((np.log(lasting) * room.going_belief).sum())
    return slope, (flat * curve.ravel()[:, None]).T @ flat, value, lasting


def _spreads(room: _Room, start: Floats, missed: float, effects: Floats) -> Floats:
    """Logarithms of noise and spread between animals, at the top of the marginal likelihood with their priors."""
    from scipy.optimize import minimize

    middle, width = np.log([NOISE, BETWEEN]), np.array([NOISE_LN_SD, BETWEEN_LN_SD])
    room = _some(room)

    def against(at: Floats) -> float:
        noise, between = np.exp(np.clip(at, middle - 4 * width, middle + 4 * width))
        evidence = _fit(room, float(noise), float(between), missed, effects)[2]
        return float(0.5 * (((at - middle) / width) ** 2).sum() - evidence)

    simplex = start + np.array([[0.0, 0.0], [0.25, 0.0], [0.0, 0.25]])
    found = minimize(
        against, start, method="Nelder-Mead",
        options={"initial_simplex": simplex, "xatol": 0.03, "fatol": 0.03, "maxfev": 30},
    )  # fmt: skip
    return np.asarray(found.x, np.float64)


def _some(room: _Room) -> _Room:
    """The room, or a part of a large one."""
    step = -(-room.animals // ENOUGH)
    if step <= 1:
        return room
    ended, going = room.ended.animal % step == 0, room.going.animal % step == 0
    return _Room(
        room.animals, room.ended.of(ended), room.going.of(going), room.belief[:, :, ended], room.going_belief[:, going],
        room.extra, room.prior_sd,
    )  # fmt: skip


def _believe(
    room: _Room, noise: float, between: float, missed: float, effects: Floats, maturity: Maturity
) -> tuple[float, Floats]:
    """Weigh (in place) what nobody saw; the share of unseen molts, and of mature animals in each interval."""
    rows = room.ended
    if not rows.animal.size:
        return missed, np.zeros(0)
    at = _weighed(room, noise, between)
    own_variance = at.own_variance[rows.animal]
    own = own_variance * (at.sums - at.pull @ effects)[rows.animal]
    fixed = rows.x @ effects
    # the animal without the interval in question, so that it does not vouch for itself
    rest = 1.0 / np.maximum(1.0 / own_variance - at.weight.sum(axis=0), 1e-6)
    rest = np.minimum(rest, between**2 + room.extra[rows.animal])
    rest_own = rest * (own / own_variance - (at.weight * (at.y - fixed)).sum(axis=0))
    total2 = noise**2 * rows.scale2 + rows.variance + rest
    room.belief, mature = weigh(rows, rows.y - fixed - rest_own, total2, missed, maturity)
    lasting = _open(room, noise, missed, effects, at)[3]
    table = maturity.chance(rows.beyond)
    chance = carried(mature, table, room.going.before, maturity.chance(room.going.beyond))
    likely = np.stack((1.0 - chance, chance)) * lasting
    room.going_belief = likely / likely.sum(axis=0)
    cause = room.belief.sum(axis=0)[:, rows.whole]
    lost = float((cause[1] + 2.0 * cause[2]).sum())
    seen = float(np.count_nonzero(rows.whole))
    return min(0.3, max(0.005, (MISSED * MISSED_WEIGHT + lost) / (MISSED_WEIGHT + seen + lost))), mature
