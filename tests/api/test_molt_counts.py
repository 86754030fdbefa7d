"""Counts of molts: the exact Poisson-binomial distribution beside enumeration and the libraries', and clusters."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from api.domain.errors import InputError
from api.molt.chances import AHEAD_D
from api.molt.clusters import ClusterSettings, cluster_words, clusters, day_counts, day_edges, poisson_binomial
from api.molt.outlook import Basis, MoltOutlook, RoomOutlook
from tests.trials.molt_plain import DAY_MS, at


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0.0, 1.0), min_size=0, max_size=8))
def test_beside_enumeration(chances: list[float]) -> None:
    """Every one of the 2^n outcomes, added up."""
    wanted = np.zeros(len(chances) + 1)
    for outcome in product((0, 1), repeat=len(chances)):
        wanted[sum(outcome)] += np.prod([p if came else 1.0 - p for p, came in zip(chances, outcome, strict=True)])
    assert poisson_binomial(chances) == pytest.approx(wanted, abs=1e-12)


@pytest.mark.parametrize(("n", "p"), [(1, 0.3), (12, 0.25), (200, 0.07), (1000, 0.5)])
def test_beside_the_binomial(n: int, p: float) -> None:
    """Where all chances are equal it is the binomial distribution (scipy.stats.binom)."""
    assert poisson_binomial(np.full(n, p)) == pytest.approx(scipy.stats.binom.pmf(np.arange(n + 1), n, p), abs=1e-11)


def test_beside_the_library() -> None:
    """Unequal chances beside scipy's own distribution, in versions that have it; else beside its moments."""
    chances = np.random.default_rng(3).uniform(0.0, 1.0, 60)
    mine = poisson_binomial(chances)
    if hasattr(scipy.stats, "poisson_binom"):
        assert mine == pytest.approx(scipy.stats.poisson_binom.pmf(np.arange(61), chances), abs=1e-11)
    mean = float(mine @ np.arange(61))
    assert mean == pytest.approx(chances.sum())
    assert float(mine @ (np.arange(61) - mean) ** 2) == pytest.approx((chances * (1.0 - chances)).sum())


def test_chances_that_are_none() -> None:
    """Refused with words."""
    for wrong in ([1.2], [-0.1], [float("nan")]):
        with pytest.raises(InputError, match="between 0 and 1"):
            poisson_binomial(wrong)


def room(curves: np.ndarray, species: tuple[str, ...], weights: tuple[float, ...] = (1.0,)) -> RoomOutlook:
    """A room whose animals' chances are given: scenarios, animals, days of AHEAD_D."""
    told = tuple(
        MoltOutlook(
            number, at(0), 0.0, 0.0, 0.0, 0.0, (), None, (None, None), (None, None), None, 1.0, False,
            Basis(0, 0, 1.0, 0.0), (),
        )
        for number in range(curves.shape[1])
    )  # fmt: skip
    start = np.full(curves.shape[1], at(0), np.int64)
    return RoomOutlook(at(0), told, species, start, np.array(weights), AHEAD_D, curves)


def between_days(start: float, end: float, chance: float) -> np.ndarray:
    """A curve that rises evenly between two days."""
    out: np.ndarray = np.interp(AHEAD_D, [start, end], [0.0, chance])
    return out


def test_a_cluster_in_words() -> None:
    """Six of twelve molt between day 3 and 7 with a chance of 0.9 each: 4 to 6 come in 80 % (binomial)."""
    curves = np.stack([between_days(3.0, 8.0, 0.9)] * 6 + [between_days(60.0, 90.0, 1.0)] * 6)[None]
    found = clusters(room(curves, ("a",) * 12))
    assert len(found) == 1
    assert [(found[0].start_ms - at(0)) / DAY_MS, (found[0].end_ms - at(0)) / DAY_MS] == [3.0, 8.0]
    count = scipy.stats.binom(6, 0.9)
    assert (found[0].low, found[0].high) == (int(count.ppf(0.1)), int(count.ppf(0.9)))
    assert found[0].chance == pytest.approx(1.0 - count.cdf(2))
    assert found[0].likely == tuple(range(6))
    said = cluster_words(found[0], lambda a, b: f"{(a - at(0)) // DAY_MS} and {(b - at(0)) // DAY_MS} March")
    assert said == "4 to 6 of 12 between 3 and 7 March"


def test_no_cluster_where_molts_are_spread() -> None:
    """Twelve animals, one every third day: nothing is called; each day's count is as expected."""
    curves = np.stack([between_days(3.0 * at_, 3.0 * at_ + 1.0, 1.0) for at_ in range(12)])[None]
    here = room(curves, ("a",) * 12)
    assert clusters(here) == ()
    counts = day_counts(here)
    assert [one.expected for one in counts] == pytest.approx([1.0, 0.0, 0.0] * 7)
    assert [(one.low, one.high) for one in counts[:2]] == [(1, 1), (0, 0)]


def test_a_species_is_late_together() -> None:
    """Ten animals that come all or none by scenario: the interval spans both, though the mean is five."""
    curves = np.zeros((2, 10, AHEAD_D.size))
    curves[0] = between_days(0.0, 1.0, 1.0)
    told = day_counts(room(curves, ("a",) * 10, (0.5, 0.5)))[0]
    assert (told.expected, told.low, told.high) == (5.0, 0, 10)
    # half of them of another species, early or late on its own: 0, 5 or 10 come
    other = day_counts(room(curves, ("a",) * 5 + ("b",) * 5, (0.5, 0.5)))[0]
    assert other.expected == 5.0
    assert other.any_chance == pytest.approx(0.75)


def test_some_animals_and_other_days() -> None:
    """A group of the room, and days by edges of one's own."""
    curves = np.stack([between_days(0.0, 4.0, 1.0), between_days(0.0, 2.0, 1.0)])[None]
    here = room(curves, ("a", "a"))
    told = day_counts(here, {1}, [at(0), at(1), at(4)])
    assert [one.expected for one in told] == pytest.approx([0.5, 0.5])
    assert day_counts(here, set())[0].expected == 0.0
    assert len(day_edges(at(0))) == 22
    with pytest.raises(InputError, match="must rise"):
        day_counts(here, None, [at(1), at(0)])


def test_settings() -> None:
    """How many make a cluster; settings that can call nothing are refused."""
    assert [ClusterSettings().number(n) for n in (5, 12, 13, 200)] == [3, 3, 4, 50]
    wrong = ((0, 0.2, 5, 0.4), (3, 1.5, 5, 0.4), (3, 0.2, 0, 0.4), (3, 0.2, 30, 0.4), (3, 0.2, 5, 1.0))
    for least, share, days, chance in wrong:
        with pytest.raises(InputError, match="cluster"):
            ClusterSettings(least, share, days, chance)
