"""The pace of a species in this room and of each animal in it, learned from their intervals and held to the prior.

A normal-normal model of ln K: effects of the species with priors, a deviation of each animal, noise of each interval;
what has not ended yet is right-censored, and an interval may hold a molt nobody saw. The two spreads are found by
their marginal likelihood (empirical Bayes). Must not do: know a date.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log

import numpy as np
from numpy.typing import NDArray

from api.molt.intervals import LEAST, PRIOR_SD, Intervals, Kind
from api.molt.past import GUESS_SD
from api.molt.species import SIZE_EXPONENT
from api.science.arrays import Floats

NOISE, NOISE_LN_SD = 0.17, 0.35
"""Spread of ln(interval) within an animal, 0.06 to 0.20 in kozak_2009's juveniles; what is not known of it. [1, 1]"""
BETWEEN, BETWEEN_LN_SD = 0.30, 0.4
"""Spread between animals of a species, and what is not known of it. Judgement. [1, 1]"""
MATURE_NOISE = 0.8
"""Intervals of mature animals spread by this share more. Judgement (0.25 to 0.35 in adults). [1]"""
MISSED, MISSED_WEIGHT = 0.05, 30.0
"""Share of molts nobody noticed before anything is learned, worth so many molts. Judgement. [1]"""
SEVERAL = (0.0, log(2.1), log(3.31))
"""An interval with no, one or two unseen molts in it, beside one, each longer by the growth between."""
STRAY, STRAY_SD = 0.01, 1.0
"""Share of intervals that something else made, and their spread: keeps one odd record from moving the rest."""
ARRIVED_LN, ARRIVED_VARIANCE = 1.0, 1.0
"""An arrival is seen in the rest of an interval; if any share u of it is as likely, -ln u has mean 1 and variance 1."""
FOREVER = 1e-3


@dataclass(frozen=True, slots=True)
class Pace:
    """What was learned of one species here.

    ``effects`` with ``covariance``; ``own`` and ``own_variance`` by animal; ``pull`` is how each animal's own deviation
    answers to a change of the effects; ``noise``, ``between``, ``missed``; ``whole`` intervals it rests on.
    """

    effects: Floats
    covariance: Floats
    own: Floats
    own_variance: Floats
    pull: Floats
    noise: float
    between: float
    missed: float
    whole: int


@dataclass(slots=True)
class _Rows:
    """Intervals of one species as the model needs them; ``known`` ended, ``open`` are the ones still running."""

    animals: int
    animal: NDArray[np.intp]
    x: Floats
    y: Floats
    variance: Floats
    scale2: Floats
    several: NDArray[np.bool_]
    shift: Floats
    added: Floats
    open_animal: NDArray[np.intp]
    open_x: Floats
    open_y: Floats
    open_variance: Floats
    open_scale2: Floats
    extra: Floats
    prior_sd: Floats


def learn(rows: Intervals, animals: int, species_sd: float) -> Pace:
    """Pace of a species and its animals (numbered from 0) from their intervals; the prior where there are none."""
    data = _rows(rows, animals, species_sd)
    spread = np.log([NOISE, BETWEEN])
    missed = MISSED
    effects, noise, between = np.zeros(data.x.shape[1]), NOISE, BETWEEN
    for _ in range(4 if data.y.size else 1):
        spread = _spreads(data, spread, missed, effects)
        noise, between = (float(one) for one in np.exp(spread))
        effects, _, _ = _fit(data, noise, between, missed, effects)
        missed = _unseen(data, noise, between, missed, effects)
    effects, information, _ = _fit(data, noise, between, missed, effects)
    own_variance, pull, sums = _own(data, noise, between)
    return Pace(
        effects=effects,
        covariance=np.asarray(np.linalg.inv(information), np.float64),
        own=own_variance * (sums - pull @ effects),
        own_variance=own_variance,
        pull=own_variance[:, None] * pull,
        noise=noise,
        between=between,
        missed=missed,
        whole=int(np.count_nonzero(data.several)),
    )


def noise_scale2(mature: Floats) -> Floats:
    """By how much the variance of an interval is larger in a mature animal."""
    out: Floats = (1.0 + MATURE_NOISE * mature) ** 2
    return out


def _rows(rows: Intervals, animals: int, species_sd: float) -> _Rows:
    size_known = rows.size_sd < GUESS_SD
    y = np.log(np.maximum(rows.ran.degree_days, LEAST)) - rows.offset
    ran2 = np.maximum(rows.ran.degree_days, LEAST) ** 2
    variance = np.minimum(rows.end_variance / ran2, 4.0) + np.where(
        size_known, (SIZE_EXPONENT * rows.size_sd) ** 2, 0.0
    )
    arrived = (rows.kind == Kind.FROM_ARRIVAL) | (rows.kind == Kind.SINCE_ARRIVAL)
    y, variance = y + ARRIVED_LN * arrived, variance + ARRIVED_VARIANCE * arrived
    ended = rows.kind <= Kind.FROM_ARRIVAL
    going = ~ended & (rows.ran.degree_days > LEAST)
    extra = np.zeros(animals)
    extra[rows.animal[~size_known]] = (SIZE_EXPONENT * GUESS_SD) ** 2
    scale2 = noise_scale2(rows.mature)
    prior_sd = np.array(PRIOR_SD)
    prior_sd[0] = species_sd
    zero = np.zeros(int(np.count_nonzero(ended)))
    return _Rows(
        animals, rows.animal[ended], rows.x[ended], y[ended], variance[ended], scale2[ended],
        rows.kind[ended] == Kind.WHOLE, zero, zero.copy(),
        rows.animal[going], rows.x[going], y[going], variance[going], scale2[going], extra, prior_sd,
    )  # fmt: skip


def _own(data: _Rows, noise: float, between: float) -> tuple[Floats, Floats, Floats]:
    """Each animal's variance after its own intervals, and the weighted sums its deviation comes from."""
    weight = 1.0 / (noise**2 * data.scale2 + data.variance + data.added)
    per = [np.bincount(data.animal, weight * column, data.animals) for column in data.x.T]
    sums: Floats = np.bincount(data.animal, weight * (data.y - data.shift), data.animals).astype(np.float64)
    prior = between**2 + data.extra
    variance = prior / (1.0 + prior * np.bincount(data.animal, weight, data.animals))
    return variance, np.column_stack(per), sums


def _fit(data: _Rows, noise: float, between: float, missed: float, start: Floats) -> tuple[Floats, Floats, float]:
    """The effects at given spreads by Newton's method; their information, and the logarithm of the evidence."""
    spread2 = noise**2 * data.scale2 + data.variance + data.added
    weight = 1.0 / spread2
    y = data.y - data.shift
    own_variance, pull, sums = _own(data, noise, between)
    gauss = (data.x * weight[:, None]).T @ data.x - (pull * own_variance[:, None]).T @ pull
    gauss += np.diag(data.prior_sd**-2)
    linear = data.x.T @ (weight * y) - pull.T @ (own_variance * sums)
    effects = start
    information = gauss
    for _ in range(12):
        slope, curve, _ = _open(data, noise, missed, effects, own_variance, pull, sums)
        information = gauss + curve
        step = np.linalg.solve(information, linear - gauss @ effects + slope)
        largest = float(np.abs(step).max())
        effects = effects + step * min(1.0, 0.5 / max(largest, 1e-12))
        if largest < 1e-4:
            break
    value = _open(data, noise, missed, effects, own_variance, pull, sums)[2]
    residual = y - data.x @ effects
    value += -0.5 * float(weight @ residual**2) + 0.5 * float(own_variance @ (sums - pull @ effects) ** 2)
    prior = between**2 + data.extra
    value += -0.5 * float(np.log(spread2).sum()) + 0.5 * float(np.log(own_variance / prior).sum())
    value -= 0.5 * float(((effects / data.prior_sd) ** 2).sum()) + 0.5 * float(np.linalg.slogdet(information)[1])
    return effects, information, value


def _open(
    data: _Rows, noise: float, missed: float, effects: Floats, own_variance: Floats, pull: Floats, sums: Floats
) -> tuple[Floats, Floats, float]:
    """What intervals still running say: that they are longer than this, or that a molt went unseen."""
    from scipy.special import ndtr

    at = data.open_animal
    x = data.open_x - own_variance[at, None] * pull[at]
    spread = np.sqrt(noise**2 * data.open_scale2 + data.open_variance + own_variance[at])
    z = (data.open_y - own_variance[at] * sums[at] - x @ effects) / spread
    lasting, density, bend = np.full(z.size, FOREVER), np.zeros(z.size), np.zeros(z.size)
    for share, longer in zip(_shares(missed), SEVERAL, strict=True):
        z_k = z - longer / spread
        here = share * np.exp(-0.5 * z_k**2) / np.sqrt(2.0 * np.pi)
        lasting += (1.0 - FOREVER) * share * ndtr(-z_k)
        density += (1.0 - FOREVER) * here
        bend += (1.0 - FOREVER) * here * z_k
    pressure = density / lasting
    curve = np.clip(pressure**2 - bend / lasting, 0.0, 1.0)
    scaled = x / spread[:, None]
    return scaled.T @ pressure, (scaled * curve[:, None]).T @ scaled, float(np.log(lasting).sum())


def _shares(missed: float) -> tuple[float, float, float]:
    return 1.0 - missed, missed * (1.0 - missed), missed**2


def _spreads(data: _Rows, start: Floats, missed: float, effects: Floats) -> Floats:
    """Logarithms of noise and spread between animals, at the top of the marginal likelihood with their priors."""
    from scipy.optimize import minimize

    middle, width = np.log([NOISE, BETWEEN]), np.array([NOISE_LN_SD, BETWEEN_LN_SD])

    def against(at: Floats) -> float:
        noise, between = np.exp(np.clip(at, middle - 4 * width, middle + 4 * width))
        evidence = _fit(data, float(noise), float(between), missed, effects)[2]
        return float(0.5 * (((at - middle) / width) ** 2).sum() - evidence)

    simplex = start + np.array([[0.0, 0.0], [0.25, 0.0], [0.0, 0.25]])
    found = minimize(
        against, start, method="Nelder-Mead",
        options={"initial_simplex": simplex, "xatol": 0.02, "fatol": 0.01, "maxfev": 40},
    )  # fmt: skip
    return np.asarray(found.x, np.float64)


def _unseen(data: _Rows, noise: float, between: float, missed: float, effects: Floats) -> float:
    """Weigh how many molts lie in each interval (in place) by all else known of its animal; the share unseen."""
    if not data.y.size:
        return missed
    own_variance, pull, sums = _own(data, noise, between)
    own = own_variance * (sums - pull @ effects)
    mine2 = noise**2 * data.scale2 + data.variance + data.added
    # the animal without the interval in question, so that it does not vouch for itself
    rest = 1.0 / np.maximum(1.0 / own_variance[data.animal] - 1.0 / mine2, 1e-6)
    fixed = data.x @ effects
    rest_own = rest * (own[data.animal] / own_variance[data.animal] - (data.y - data.shift - fixed) / mine2)
    off = data.y - fixed - rest_own
    total2 = noise**2 * data.scale2 + data.variance + np.minimum(rest, between**2 + data.extra[data.animal])
    logs = [log(share) - 0.5 * (off - more) ** 2 / total2 for share, more in zip(_shares(missed), SEVERAL, strict=True)]
    stray2 = total2 + STRAY_SD**2
    logs.append(log(STRAY) - 0.5 * off**2 / stray2 - 0.5 * np.log(stray2 / total2))
    belief = np.exp(np.array(logs) - np.max(logs, axis=0))
    belief /= belief.sum(axis=0)
    belief[:, ~data.several] = np.array([1.0, 0.0, 0.0, 0.0])[:, None]
    more = np.array([*SEVERAL, 0.0])
    mean = more @ belief
    data.shift, data.added = mean, (more**2) @ belief - mean**2 + STRAY_SD**2 * belief[3]
    lost = float((belief[1] + 2.0 * belief[2])[data.several].sum())
    seen = float(np.count_nonzero(data.several))
    return min(0.3, max(0.005, (MISSED * MISSED_WEIGHT + lost) / (MISSED_WEIGHT + seen + lost)))
