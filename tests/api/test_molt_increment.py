"""Gains at a molt: the falling share, an animal's own, Hiatt's line."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import linregress

from api.domain.errors import InputError
from api.molt.increment import Grown, gain, hiatt_line, next_length
from api.molt.lookback import grown_of
from tests.trials.molt_plain import at, crayfish


def test_the_share_falls_with_size() -> None:
    """Within the steps it was drawn from: 20, 15, 10 and 6 % below 15, to 30, to 45, above; never below nothing."""
    for mm, low, high in ((5.0, 0.15, 0.2), (22.0, 0.14, 0.16), (37.0, 0.09, 0.11), (70.0, 0.05, 0.07)):
        assert low <= gain(mm)[0] <= high
    lengths = np.linspace(3.0, 120.0, 200)
    assert (np.diff([gain(float(one))[0] for one in lengths]) <= 0.0).all()


def test_hiatt_beside_the_library() -> None:
    """Slope, intercept and their standard errors beside scipy.stats.linregress."""
    rng = np.random.default_rng(2)
    pre = rng.uniform(8.0, 40.0, 25)
    post = 1.5 + 1.05 * pre + rng.normal(0.0, 0.6, 25)
    mine = hiatt_line([Grown(1, float(a), float(b)) for a, b in zip(pre, post, strict=True)])
    other = linregress(pre, post)
    assert [mine.a_mm, mine.b] == pytest.approx([other.intercept, other.slope])
    assert [mine.a_se_mm, mine.b_se] == pytest.approx([other.intercept_stderr, other.stderr])
    assert mine.molts == 25


def test_few_molts_have_no_line_or_no_error() -> None:
    """Two molts: a line without errors; fewer, or all of one length: words."""
    two = hiatt_line([Grown(1, 10.0, 12.0), Grown(1, 20.0, 23.0)])
    assert two.b == pytest.approx(1.1)
    assert two.b_se is None
    assert two.residual_sd_mm is None
    for some in ([], [Grown(1, 10.0, 12.0)], [Grown(1, 10.0, 12.0), Grown(2, 10.0, 11.0)]):
        with pytest.raises(InputError, match="Hiatt line needs"):
            hiatt_line(some)


def test_an_animal_learns_its_own_gain() -> None:
    """One that gains 5 % more than the table draws its own forecast up, and its species a little."""
    share = gain(20.0)[0]
    room = [Grown(1, 20.0, 20.0 * (1.05 + share)) for _ in range(6)]
    room += [Grown(number, 20.0, 20.0 * (1.0 + share)) for number in range(2, 8) for _ in range(3)]
    plain, own, other = next_length(20.0, 1), next_length(20.0, 1, room), next_length(20.0, 99, room)
    assert plain.mm < other.mm < own.mm < 20.0 * (1.05 + share)
    assert own.high_mm - own.low_mm < plain.high_mm - plain.low_mm
    assert (own.own, own.room, plain.own) == (6, 24, 0)


def test_intervals_hold() -> None:
    """Of gains drawn as stated, 80 % lie inside, with nothing learned and with twenty molts of the species."""
    rng = np.random.default_rng(4)
    held, wide = [], []
    for _ in range(1500):
        species = rng.normal(0.0, 0.03)
        mean, spread = gain(20.0)
        grown = [
            Grown(number, 20.0, 20.0 * (1.0 + rng.normal(mean + species + own, spread)))
            for number, own in enumerate(rng.normal(0.0, 0.02, 10))
            for _ in range(2)
        ]
        told, blind = next_length(20.0, 77, grown), next_length(20.0, 77)
        came = 20.0 * (1.0 + rng.normal(mean + species + rng.normal(0.0, 0.02), spread))
        held.append(told.low_mm <= came <= told.high_mm)
        wide.append(blind.low_mm <= came <= blind.high_mm)
    assert 0.77 < float(np.mean(held)) < 0.83
    assert 0.77 < float(np.mean(wide)) < 0.83


def test_shrinking_is_allowed() -> None:
    """A measured loss is a molt like others; a length no crayfish has is refused."""
    life = crayfish(1, [5.0, 20.0], mm=30.0, gain=-0.02)
    assert [one.post_mm < one.pre_mm for one in grown_of(life, at(30.0))] == [True, True]
    assert next_length(30.0, 1, grown_of(life, at(30.0))).mm < next_length(30.0, 1).mm
    with pytest.raises(InputError, match="outside 1 to 250 mm"):
        next_length(0.2, 1)
