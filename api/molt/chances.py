"""From what was learned to chances over the days ahead: every animal's curve of having molted by a day.

What a whole species' pace leaves open is kept apart in scenarios, for then all its animals are early or late together.
Must not do: use words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from api.molt.breeding import brood_left_d
from api.molt.clock import DAY_MS
from api.molt.intervals import LEAST, Intervals, Kind, as_state, warmth_effect
from api.molt.latent import MATURE_NOISE, SEX_SD, STATES
from api.molt.pace import Pace
from api.molt.past import GUESS_SD, Past
from api.molt.renewal import STEP, Renewal, renewal
from api.molt.signs import likelier
from api.molt.spans import NOWHERE, WINTER_RATE, clock_in, winter_days
from api.molt.species import SIZE_EXPONENT
from api.molt.warmth import Warmth
from api.science.arrays import Floats

AHEAD_D: Floats = np.concatenate((np.arange(0.0, 30.0, 0.5), np.geomspace(30.0, 1500.0, 50)))
"""Days ahead at which curves are known. [d]"""
SCENARIOS, OWN_NODES, ARRIVED_NODES, ARRIVED_AGES = 5, 7, 3, 12
NO_CHANCE = 0.005
"""A state less likely than this is not looked at. [1]"""
AHEAD_SHARE_D = 20.0
"""The warmth effect of an interval still running is taken over it and so much of the water to come. [d]"""


@dataclass(frozen=True, slots=True, eq=False)
class Curves:
    """Chance of having molted by each of AHEAD_D after the last look, by scenario, animal and day.

    ``weights`` of the scenarios; ``ln_k`` and ``age`` are the logarithm of the typical interval in degree-days and how
    far along it is; ``mature`` how likely the animal is.
    """

    molted: Floats
    weights: Floats
    ln_k: Floats
    age: Floats
    mature: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Water:
    """The water to come: rate of each animal's clock, what is not known of it, and days it may run by each of AHEAD_D.

    ``free_d`` all of them, ``cold_d`` those in winter, for species whose mature animals slow down then.
    """

    rate: Floats
    rate_sd: Floats
    free_d: Floats
    cold_d: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Now:
    """Each animal's interval of now, taken for that of an immature or a mature one. ``ahead``: degree-days to come."""

    ran: Floats
    ahead: Floats
    ln_k: Floats
    shared_sd: Floats
    own_sd: Floats
    oldest: Floats


def curves_of(
    pasts: Sequence[Past], rows: Intervals, pace: Pace, water: Mapping[str, Warmth], now_ms: int, north: bool
) -> Curves:
    """Curves of one species' animals; ``rows`` are their intervals of now, one each in their order."""
    points, weights = np.polynomial.hermite_e.hermegauss(SCENARIOS)
    weights = weights / weights.sum()
    to_come = _water(pasts, water, now_ms, north)
    mature = pace.mature[rows.animal]
    chance = np.stack((1.0 - mature, mature))
    states = [_now(pasts, rows, pace, to_come, state) for state in STATES]
    none_yet = np.zeros((2, SCENARIOS, len(pasts)))
    lasting = np.zeros((SCENARIOS, len(pasts), AHEAD_D.size))
    for state, now in zip(STATES, states, strict=True):
        table = renewal(pace.noise * (1.0 + MATURE_NOISE * state), pace.missed)
        for arrived in (False, True):
            some = np.flatnonzero(((rows.kind == Kind.SINCE_ARRIVAL) == arrived) & (chance[state] > NO_CHANCE))
            for scenario, point in enumerate(points):
                last, none = _lasting(now, some, float(point), table, arrived)
                lasting[scenario, some] += chance[state, some, None] * last
                none_yet[state, scenario, some] = chance[state, some] * none
    molted = np.maximum.accumulate(1.0 - lasting / none_yet.sum(axis=0)[:, :, None], axis=2)
    molted = np.clip(molted, 0.0, 1.0)
    for number, past in enumerate(pasts):
        if past.signs:
            molted[:, number] = _signed(molted[:, number], past)
    held = np.einsum("c,scn->sn", weights, none_yet / none_yet.sum(axis=0))
    ln_k = held[0] * states[0].ln_k + held[1] * states[1].ln_k
    age = sum(held[state] * states[state].ran / np.exp(states[state].ln_k) for state in STATES)
    return Curves(molted, np.asarray(weights, np.float64), ln_k, np.asarray(age, np.float64), held[1])


def _now(pasts: Sequence[Past], rows: Intervals, pace: Pace, water: _Water, state: int) -> _Now:
    days = rows.ran.days
    seen = as_state(rows, state)
    x = seen.x.copy()
    x[:, 4] = warmth_effect((rows.ran.thermal + water.rate * AHEAD_SHARE_D) / (days + AHEAD_SHARE_D), rows.usual_rate)
    # what was learned of winter goes into the clock itself, for the part to come must run by it too
    x[:, 5] = 0.0
    slower = 1.0 - WINTER_RATE - float(np.clip(pace.effects[5], -WINTER_RATE, 1.0 - WINTER_RATE))
    cold = (rows.ran.thermal - rows.ran.degree_days) / (1.0 - WINTER_RATE)
    ran = rows.ran.thermal - state * slower * cold
    ahead = (water.free_d - state * slower * water.cold_d) * water.rate[:, None]
    ln_k = seen.stated + x @ pace.effects + pace.own[rows.animal]
    k = np.exp(ln_k)
    apart = x - pace.pull[rows.animal]
    shared_sd = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", apart, pace.covariance, apart), 0.0))
    own = pace.own_variance[rows.animal]
    own = own + np.where(rows.size_sd < GUESS_SD, (SIZE_EXPONENT * rows.size_sd) ** 2, 0.0)
    own = own + state * (rows.male == 0.5) * SEX_SD**2
    own = own + rows.end_variance / np.maximum(k, LEAST) ** 2
    own = own + (np.maximum(0.1, 1.0 - ran / k) * water.rate_sd / np.maximum(water.rate, 0.5)) ** 2
    # days left at the middle of what is expected, and the winter in them
    reached = (ahead < np.maximum(k - ran, 0.0)[:, None]).sum(axis=1).clip(max=AHEAD_D.size - 1)
    in_winter = cold + water.cold_d[np.arange(len(pasts)), reached] * water.rate
    own = own + state * pace.covariance[5, 5] * (in_winter / np.maximum(k, LEAST)) ** 2
    oldest = np.array([_oldest_d(past) for past in pasts]) * np.maximum(water.rate, 0.1)
    return _Now(ran, ahead, ln_k, shared_sd, np.sqrt(own), oldest)


def _oldest_d(past: Past) -> float:
    """How long before its record began it can last have molted at most. [d]"""
    return np.inf if past.hatched_ms is None else max(0.5, (past.since_ms - past.hatched_ms) / DAY_MS)


def _water(pasts: Sequence[Past], water: Mapping[str, Warmth], now_ms: int, north: bool) -> _Water:
    """The water to come for each animal, holds taken out."""
    count = len(pasts)
    rate, rate_sd, held, winter = np.zeros(count), np.zeros(count), np.zeros(count), np.zeros(count)
    for number, past in enumerate(pasts):
        tank = past.life.tank
        rate[number], rate_sd[number] = clock_in(water, tank, past.species).ahead(now_ms)
        winter[number] = past.species.winter
        if past.holds and past.holds[-1].until_ms is None and past.life.clutch is not None:
            warmth = water.get(tank, NOWHERE) if tank is not None else NOWHERE
            since_look_d = (now_ms - past.looked_ms) / DAY_MS
            held[number] = since_look_d + brood_left_d(past.species, past.life.clutch, warmth, now_ms)
    free = np.maximum(0.0, AHEAD_D - held[:, None])
    cold = winter_days(now_ms, AHEAD_D, north)
    cold_d = winter[:, None] * np.maximum(0.0, cold - np.interp(held, AHEAD_D, cold)[:, None])
    return _Water(rate, rate_sd, free, cold_d)


def _lasting(now: _Now, some: NDArray[np.intp], point: float, table: Renewal, arrived: bool) -> tuple[Floats, Floats]:
    """Chance of no molt by each day, and of none seen so far, over what is not known of each animal itself."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(ARRIVED_NODES if arrived else OWN_NODES)
    ages, chances = _ages(table) if arrived else (np.zeros(1), np.ones(1))
    lasting, none_yet = np.zeros((some.size, AHEAD_D.size)), np.zeros(some.size)
    for node, weight in zip(nodes, weights / weights.sum(), strict=True):
        k = np.exp(now.ln_k[some] + point * now.shared_sd[some] + node * now.own_sd[some])
        run, ahead = now.ran[some] / k, now.ahead[some] / k[:, None]
        for age, chance in zip(ages, chances, strict=True):
            # an animal hatched lately cannot have gone longer than that without a molt
            begun = np.minimum(age, now.oldest[some] / k)
            share = weight * chance / table.at(begun, np.zeros(1))
            at = begun + run
            none_yet += share * table.at(at, np.zeros(1))
            lasting += share[:, None] * table.at(at[:, None], ahead)
    return lasting, np.maximum(none_yet, 1e-300)


def _ages(table: Renewal) -> tuple[Floats, Floats]:
    """How far along an animal may be that comes from elsewhere: any moment of an interval is as likely."""
    gone = np.cumsum(table.survival)
    gone = (gone - 0.5 * table.survival) / gone[-1]
    shares = (np.arange(ARRIVED_AGES) + 0.5) / ARRIVED_AGES
    return np.interp(shares, gone, np.arange(gone.size) * STEP), np.full(ARRIVED_AGES, 1.0 / ARRIVED_AGES)


def _signed(molted: Floats, past: Past) -> Floats:
    """The curves of an animal with premolt signs: days to which the signs point weigh more."""
    middle = 0.5 * (AHEAD_D[1:] + AHEAD_D[:-1])
    factor = likelier(past.signs, past.looked_ms, middle)
    parts = np.diff(molted, axis=1) * factor
    total = parts.sum(axis=1) + (1.0 - molted[:, -1])
    out = np.zeros_like(molted)
    out[:, 1:] = np.cumsum(parts, axis=1) / np.maximum(total, 1e-12)[:, None]
    return np.clip(out, 0.0, 1.0)
