"""The likelihood behind the pace: whole intervals as a normal-normal model, parts of others by how long they last.

Must not do: choose the spreads or weigh what nobody saw; those come in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from api.molt.intervals import LEAST, PRIOR_SD, Intervals, Kind
from api.molt.latent import SEVERAL, STRAY_SD, Rows, rows_of, shares
from api.molt.past import GUESS_SD
from api.molt.species import SIZE_EXPONENT, Species
from api.science.arrays import Floats

FOREVER = 1e-3
"""Share of intervals still running that are taken to say nothing: keeps one odd record from moving the rest."""


@dataclass(slots=True)
class Room:
    """Whole intervals, those of which only a part was seen, and what is believed of them so far."""

    animals: int
    whole: Rows
    part: Rows
    belief: Floats
    part_belief: Floats
    extra: Floats
    prior_sd: Floats


@dataclass(frozen=True, slots=True)
class Weighed:
    """Whole intervals at given spreads and beliefs: weight and value of each, and what is left of the likelihood.

    ``own_variance``, ``pull`` and ``sums``: each animal's variance after its own intervals, and the weighted sums its
    deviation comes from.
    """

    weight: Floats
    y: Floats
    rest: float
    own_variance: Floats
    pull: Floats
    sums: Floats


@dataclass(frozen=True, slots=True)
class _Part:
    """Intervals of which only a part was seen, beside what is known of their animals: effects, ln of what was seen, and
    the spread of it."""

    x: Floats
    y: Floats
    spread: Floats


def room_of(rows: Intervals, animals: int, species: Species) -> Room:
    whole = rows.kind == Kind.WHOLE
    part = ~whole & (rows.ran.degree_days > LEAST)
    extra = np.zeros(animals)
    extra[rows.animal[rows.size_sd >= GUESS_SD]] = (SIZE_EXPONENT * GUESS_SD) ** 2
    prior_sd = np.array(PRIOR_SD)
    prior_sd[0] = species.pace.sd
    return Room(
        animals=animals,
        whole=rows_of(rows, whole),
        part=rows_of(rows, part),
        belief=np.zeros((2, 4, int(np.count_nonzero(whole)))),
        part_belief=np.zeros((2, int(np.count_nonzero(part)))),
        extra=extra,
        prior_sd=prior_sd,
    )


def weighed(room: Room, noise: float, between: float) -> Weighed:
    rows = room.whole
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
    return Weighed(weight, y, rest, prior / held, np.column_stack(per), sums)


def fit(room: Room, noise: float, between: float, missed: float, start: Floats) -> tuple[Floats, Floats, float]:
    """The effects at given spreads by Newton's method; their information, and the logarithm of the evidence."""
    at = weighed(room, noise, between)
    x, weight, y = room.whole.x.reshape(-1, start.size), at.weight.ravel(), at.y.ravel()
    gauss = (x * weight[:, None]).T @ x - (at.pull * at.own_variance[:, None]).T @ at.pull
    gauss += np.diag(room.prior_sd**-2)
    linear = x.T @ (weight * y) - at.pull.T @ (at.own_variance * at.sums)
    effects, information = start, gauss
    seen = _part_of(room, noise, at)
    for _ in range(12):
        slope, curve, _, _ = _told(room, seen, missed, effects)
        information = gauss + curve
        step = np.linalg.solve(information, linear - gauss @ effects + slope)
        largest = float(np.abs(step).max())
        effects = effects + step * min(1.0, 0.5 / max(largest, 1e-12))
        if largest < 1e-4:
            break
    value = at.rest + _told(room, seen, missed, effects)[2]
    value -= 0.5 * float(weight @ (y - x @ effects) ** 2)
    value += 0.5 * float(at.own_variance @ (at.sums - at.pull @ effects) ** 2)
    value -= 0.5 * float(((effects / room.prior_sd) ** 2).sum()) + 0.5 * float(np.linalg.slogdet(information)[1])
    return effects, information, value


def likely_parts(room: Room, noise: float, missed: float, effects: Floats, own: Weighed) -> Floats:
    """Logarithm of how likely each interval is of which only a part was seen, by state."""
    return _told(room, _part_of(room, noise, own), missed, effects)[3]


def _part_of(room: Room, noise: float, own: Weighed) -> _Part:
    rows, at = room.part, room.part.animal
    return _Part(
        x=rows.x - (own.own_variance[at, None] * own.pull[at])[None],
        y=rows.y - own.own_variance[at] * own.sums[at],
        spread=np.sqrt(noise**2 * rows.scale2 + rows.variance + own.own_variance[at]),
    )


def _told(room: Room, seen: _Part, missed: float, effects: Floats) -> tuple[Floats, Floats, float, Floats]:
    """What intervals say of which only a part was seen.

    Slope and curve by the effects, value, and the logarithm of how likely each is, by state.
    """
    rows, x, spread = room.part, seen.x, seen.spread
    z = seen.y - x @ effects
    arrived = np.flatnonzero(rows.kind == Kind.SINCE_ARRIVAL)
    share = (1.0 - FOREVER) * np.array(shares(missed))
    lasting, density, bend = (
        np.einsum("k,ksn->sn", share, part) for part in _lasting(z - SEVERAL[:, None, None], spread, arrived)
    )
    lasting += FOREVER
    pressure = density / lasting
    curve = np.clip(pressure**2 - bend / lasting, 0.0, 4.0 / spread**2) * room.part_belief
    # a rest of an interval that ended is as likely as its whole is long: 1/K
    ended = (rows.kind == Kind.FROM_ARRIVAL).astype(np.float64)
    flat = x.reshape(-1, effects.size)
    slope = flat.T @ ((pressure - ended) * room.part_belief).ravel()
    likely = np.log(lasting) + ended * z
    value = float((likely * room.part_belief).sum())
    return slope, (flat * curve.ravel()[:, None]).T @ flat, value, likely


def _lasting(z: Floats, spread: Floats, arrived: NDArray[np.intp]) -> tuple[Floats, Floats, Floats]:
    """Chance that an interval, or the rest of one met on arrival at any moment, is longer than was seen.

    ``z``: ln of what was seen beside ln K, last axis the row; ``arrived``: which rows are such rests. With minus its
    first derivative by z, and its second.
    """
    from scipy.special import ndtr

    t = z / spread
    lasting, density = ndtr(-t), np.exp(-0.5 * t**2) / (np.sqrt(2.0 * np.pi) * spread)
    bend = density * t / spread
    if arrived.size:
        # the rest is longer than r in a share E(K - r, not below 0) / E(K)
        wide = spread[:, arrived]
        beside = np.exp(np.minimum(z[..., arrived] - 0.5 * wide**2, 50.0))
        falls = beside * lasting[..., arrived]
        bend[..., arrived] = beside * density[..., arrived] - falls
        lasting[..., arrived] = np.maximum(ndtr(wide - t[..., arrived]) - falls, 0.0)
        density[..., arrived] = falls
    return lasting, density, bend
