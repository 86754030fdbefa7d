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
from api.molt.intervals import LEAST, Intervals, Kind, warmth_effect
from api.molt.pace import Pace, noise_scale2
from api.molt.past import GUESS_SD, Past
from api.molt.renewal import STEP, Renewal, renewal
from api.molt.signs import likelier
from api.molt.spans import WINTER_RATE, clock_in, winter_days
from api.molt.species import SIZE_EXPONENT
from api.molt.warmth import Warmth
from api.science.arrays import Floats

AHEAD_D: Floats = np.concatenate((np.arange(0.0, 30.0, 0.5), np.geomspace(30.0, 1500.0, 50)))
"""Days ahead at which curves are known. [d]"""
SCENARIOS, OWN_NODES, ARRIVED_NODES, ARRIVED_AGES = 5, 7, 3, 12
AHEAD_SHARE_D = 20.0
"""The warmth effect of an interval still running is taken over it and so much of the water to come. [d]"""


@dataclass(frozen=True, slots=True, eq=False)
class Curves:
    """Chance of having molted by each of AHEAD_D after the last look, by scenario, animal and day.

    ``weights`` of the scenarios; ``ln_k`` and ``age`` are the logarithm of the typical interval in degree-days and how
    far along it is.
    """

    molted: Floats
    weights: Floats
    ln_k: Floats
    age: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Now:
    """Each animal's interval of now. ``ahead``: degree-days by each of AHEAD_D."""

    ran: Floats
    ahead: Floats
    ln_k: Floats
    shared_sd: Floats
    own_sd: Floats
    noise: Floats
    arrived: NDArray[np.bool_]
    oldest: Floats


def curves_of(
    pasts: Sequence[Past], rows: Intervals, pace: Pace, water: Mapping[str, Warmth], now_ms: int, north: bool
) -> Curves:
    """Curves of one species' animals; ``rows`` are their intervals of now, one each in their order."""
    now = _now(pasts, rows, pace, water, now_ms, north)
    points, weights = np.polynomial.hermite_e.hermegauss(SCENARIOS)
    weights = weights / weights.sum()
    molted = np.zeros((SCENARIOS, len(pasts), AHEAD_D.size))
    kinds = np.column_stack((now.arrived, np.round(now.noise, 2)))
    for arrived, noise in np.unique(kinds, axis=0):
        some = np.flatnonzero((kinds == [arrived, noise]).all(axis=1))
        table = renewal(float(noise), pace.missed)
        for scenario, point in enumerate(points):
            molted[scenario, some] = _molted(now, some, float(point), table, bool(arrived))
    for number, past in enumerate(pasts):
        if past.signs:
            molted[:, number] = _signed(molted[:, number], past)
    return Curves(molted, np.asarray(weights, np.float64), now.ln_k, now.ran / np.exp(now.ln_k))


def _now(
    pasts: Sequence[Past], rows: Intervals, pace: Pace, water: Mapping[str, Warmth], now_ms: int, north: bool
) -> _Now:
    ran, days = rows.ran.degree_days, rows.ran.days
    ahead, rate, rate_sd = _ahead(pasts, rows.mature, water, now_ms, north)
    usual = np.array([max(1.0, min(p.species.usual_c, p.species.cap.value) - p.species.zero.value) for p in pasts])
    x = rows.x.copy()
    x[:, 4] = warmth_effect((rows.ran.thermal + rate * AHEAD_SHARE_D) / (days + AHEAD_SHARE_D), usual)
    ln_k = rows.offset + x @ pace.effects + pace.own[rows.animal]
    k = np.exp(ln_k)
    apart = x - pace.pull[rows.animal]
    shared_sd = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", apart, pace.covariance, apart), 0.0))
    size_known = rows.size_sd < GUESS_SD
    own = pace.own_variance[rows.animal] + np.where(size_known, (SIZE_EXPONENT * rows.size_sd) ** 2, 0.0)
    own = own + rows.end_variance / np.maximum(k, LEAST) ** 2
    left = np.maximum(0.1, 1.0 - ran / k)
    own = own + (left * rate_sd / np.maximum(rate, 0.5)) ** 2
    oldest = np.array([_oldest_d(past) for past in pasts]) * np.maximum(rate, 0.1)
    arrived = rows.kind == Kind.SINCE_ARRIVAL
    steps = np.round(4.0 * rows.mature) / 4.0
    noise = pace.noise * np.sqrt(noise_scale2(steps))
    return _Now(ran, ahead, ln_k, shared_sd, np.sqrt(own), noise, arrived, oldest)


def _oldest_d(past: Past) -> float:
    """How long before its record began it can last have molted at most. [d]"""
    return np.inf if past.hatched_ms is None else max(0.5, (past.since_ms - past.hatched_ms) / DAY_MS)


def _ahead(
    pasts: Sequence[Past], mature: Floats, water: Mapping[str, Warmth], now_ms: int, north: bool
) -> tuple[Floats, Floats, Floats]:
    """Degree-days of each animal's clock ahead, the rate, and what is not known of it."""
    rate, rate_sd, held = np.zeros(len(pasts)), np.zeros(len(pasts)), np.zeros(len(pasts))
    slowed = np.zeros(len(pasts))
    for number, past in enumerate(pasts):
        tank = past.life.tank if past.life.alive else None
        clock = clock_in(water, tank, past.species)
        rate[number], rate_sd[number] = clock.ahead(now_ms)
        if past.species.winter:
            slowed[number] = mature[number] * (1.0 - WINTER_RATE)
        if past.holds and past.holds[-1].until_ms is None and past.life.clutch is not None:
            warmth = water.get(tank, Warmth()) if tank is not None else Warmth()
            since_look_d = (now_ms - past.looked_ms) / DAY_MS
            held[number] = since_look_d + brood_left_d(past.species, past.life.clutch, warmth, now_ms)
    free = np.maximum(0.0, AHEAD_D - held[:, None])
    if slowed.any():
        cold = winter_days(now_ms, AHEAD_D, north)
        free = np.maximum(0.0, free - slowed[:, None] * np.maximum(0.0, cold - np.interp(held, AHEAD_D, cold)[:, None]))
    return free * rate[:, None], rate, rate_sd


def _molted(now: _Now, some: NDArray[np.intp], point: float, table: Renewal, arrived: bool) -> Floats:
    """Chance of having molted by each day in one scenario, over what is not known of each animal itself."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(ARRIVED_NODES if arrived else OWN_NODES)
    ages, chances = _ages(table) if arrived else (np.zeros(1), np.ones(1))
    lasting, none_yet = np.zeros((some.size, AHEAD_D.size)), np.zeros(some.size)
    for node, weight in zip(nodes, weights, strict=True):
        k = np.exp(now.ln_k[some] + point * now.shared_sd[some] + node * now.own_sd[some])
        run, ahead = now.ran[some] / k, now.ahead[some] / k[:, None]
        for age, chance in zip(ages, chances, strict=True):
            # an animal hatched lately cannot have gone longer than that without a molt
            begun = np.minimum(age, now.oldest[some] / k)
            share = weight * chance / table.at(begun, np.zeros(1))
            at = begun + run
            none_yet += share * table.at(at, np.zeros(1))
            lasting += share[:, None] * table.at(at[:, None], ahead)
    out: Floats = 1.0 - lasting / none_yet[:, None]
    return np.clip(np.maximum.accumulate(out, axis=1), 0.0, 1.0)


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
