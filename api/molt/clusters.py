"""How many animals molt on each day ahead, and when several are likely together: exact Poisson-binomial counts.

Animals are independent given how early or late their species is; that is mixed in afterwards, and species are added.
Must not do: take the chances of one animal for certain because many are counted.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from api.domain.errors import InputError
from api.molt.clock import DAY_MS
from api.molt.outlook import DAYS, RoomOutlook
from api.science.arrays import Floats

SURE = 0.8
"""The share of the chance that lies in an interval of a count. [1]"""


@dataclass(frozen=True, slots=True)
class ClusterSettings:
    """When molts are called a cluster: at least so many, and so large a share of the animals asked for, within so many
    days, at least as likely as ``chance``. Raises InputError for settings that can call nothing."""

    least: int = 3
    least_share: float = 0.25
    days: int = 5
    chance: float = 0.4

    def __post_init__(self) -> None:
        if self.least < 1 or not 0.0 <= self.least_share <= 1.0:
            raise InputError("a cluster needs at least one animal, and a share of them between 0 and 1")
        if not 1 <= self.days <= DAYS or not 0.0 < self.chance < 1.0:
            raise InputError(f"a cluster lies within 1 to {DAYS} days, and its chance between 0 and 1")

    def number(self, animals: int) -> int:
        """How many of so many animals make a cluster."""
        return max(self.least, int(np.ceil(self.least_share * animals - 1e-9)))


@dataclass(frozen=True, slots=True)
class DayCount:
    """Molts expected on one day of a group: ``low`` to ``high`` hold 80 % of the chance."""

    start_ms: int
    end_ms: int
    expected: float
    low: int
    high: int
    any_chance: float


@dataclass(frozen=True, slots=True)
class Cluster:
    """Several molts likely together. ``likely``: animals that will molt in it as soon as not, the likeliest first."""

    start_ms: int
    end_ms: int
    low: int
    high: int
    of: int
    expected: float
    chance: float
    likely: tuple[int, ...]


def poisson_binomial(chances: ArrayLike) -> Floats:
    """Exact distribution of how many of some independent events come; the last axis counts events, then how many.

    Raises InputError for chances that are none.
    """
    p = np.asarray(chances, np.float64)
    if not ((p >= 0.0) & (p <= 1.0)).all():
        raise InputError("a chance lies between 0 and 1")
    out = np.zeros((*p.shape[:-1], p.shape[-1] + 1))
    out[..., 0] = 1.0
    for at in range(p.shape[-1]):
        comes = p[..., at, None]
        more = out[..., : at + 1] * comes
        out[..., : at + 1] *= 1.0 - comes
        out[..., 1 : at + 2] += more
    return out


def day_edges(now_ms: int, days: int = DAYS) -> tuple[int, ...]:
    """Whole days from now; give midnights of the room's own zone instead where days of the calendar are wanted."""
    return tuple(now_ms + day * DAY_MS for day in range(days + 1))


def day_counts(
    room: RoomOutlook, animals: Collection[int] | None = None, edges_ms: Sequence[int] | None = None
) -> tuple[DayCount, ...]:
    """Expected molts of each day of all animals or some, with their interval."""
    edges = tuple(edges_ms) if edges_ms is not None else day_edges(room.now_ms)
    picked = _picked(room, animals)
    if not picked.size or len(edges) < 2:
        return tuple(DayCount(a, b, 0.0, 0, 0, 0.0) for a, b in pairwise(edges))
    chances = room.between(edges)[:, picked]
    counts = _counts(room, picked, chances)
    expected = np.einsum("c,cnd->d", room.weights, chances)
    return tuple(
        DayCount(edges[day], edges[day + 1], float(expected[day]), *_interval(counts[day]), float(1.0 - counts[day, 0]))
        for day in range(len(edges) - 1)
    )


def clusters(
    room: RoomOutlook,
    animals: Collection[int] | None = None,
    settings: ClusterSettings | None = None,
    edges_ms: Sequence[int] | None = None,
) -> tuple[Cluster, ...]:
    """Clusters in the days ahead of all animals or some, in the order of time; none of them overlap."""
    asked = settings or ClusterSettings()
    edges = tuple(edges_ms) if edges_ms is not None else day_edges(room.now_ms)
    picked = _picked(room, animals)
    starts = len(edges) - asked.days
    if picked.size < asked.least or starts < 1:
        return ()
    daily = room.between(edges)[:, picked]
    gone = np.concatenate((np.zeros((*daily.shape[:2], 1)), np.cumsum(daily, axis=2)), axis=2)
    chances = np.clip(gone[:, :, asked.days :] - gone[:, :, : -asked.days], 0.0, 1.0)
    counts = _counts(room, picked, chances)
    called = counts[:, asked.number(picked.size) :].sum(axis=1)
    by_animal = np.einsum("c,cnd->nd", room.weights, chances)
    out: list[Cluster] = []
    taken = np.zeros(starts, bool)
    for start in sorted(range(starts), key=lambda at: (-round(float(called[at]), 3), at)):
        if called[start] < asked.chance or taken[start]:
            continue
        taken[max(0, start - asked.days + 1) : start + asked.days] = True
        order = np.argsort(-by_animal[:, start], kind="stable")
        likely = tuple(room.outlooks[int(picked[at])].animal for at in order if by_animal[at, start] >= 0.5)
        out.append(
            Cluster(
                edges[start], edges[start + asked.days], *_interval(counts[start]), int(picked.size),
                float(by_animal[:, start].sum()), float(called[start]), likely,
            )
        )  # fmt: skip
    return tuple(sorted(out, key=lambda one: one.start_ms))


def cluster_words(cluster: Cluster, between: Callable[[int, int], str]) -> str:
    """ "4 to 6 of 12 between 3 and 7 March": ``between`` says the first and the last moment as "3 and 7 March"."""
    count = str(cluster.low) if cluster.low == cluster.high else f"{cluster.low} to {cluster.high}"
    return f"{count} of {cluster.of} between {between(cluster.start_ms, cluster.end_ms - 1)}"


def _picked(room: RoomOutlook, animals: Collection[int] | None) -> NDArray[np.intp]:
    wanted = None if animals is None else set(animals)
    return np.array([at for at, one in enumerate(room.outlooks) if wanted is None or one.animal in wanted], np.intp)


def _counts(room: RoomOutlook, picked: NDArray[np.intp], chances: Floats) -> Floats:
    """Distribution of the count of each day: animals within a species and scenario, scenarios mixed, species added."""
    names = np.array([room.species[int(at)] for at in picked])
    total = np.ones((chances.shape[2], 1))
    for name in np.unique(names):
        mine = chances[:, names == name].transpose(0, 2, 1)
        counts = np.einsum("c,cdk->dk", room.weights, poisson_binomial(mine))
        total = np.stack([np.convolve(a, b) for a, b in zip(total, counts, strict=True)])
    return total


def _interval(count: Floats) -> tuple[int, int]:
    """The smallest interval about the middle with at least SURE of the chance, as much left out on either side."""
    gone = np.cumsum(count)
    low = int(np.searchsorted(gone, 0.5 * (1.0 - SURE), side="right"))
    high = int(np.searchsorted(gone, 1.0 - 0.5 * (1.0 - SURE) - 1e-12))
    return low, min(high, count.size - 1)
