"""What an interval says that did not end, or did not begin, in sight; the renewal table; and shrinkage to the species.

Beside scipy's log-normal distribution, integrals by quadrature, draws at random, and the normal-normal formula.
"""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats
from scipy.integrate import quad

from api.molt.chances import _ages
from api.molt.evidence import _lasting
from api.molt.intervals import Kind, as_state, intervals_of
from api.molt.pace import learn
from api.molt.past import past_of
from api.molt.renewal import GROWTH, STRAY, STRAY_LN, STRAY_SD, renewal
from api.molt.species_table import figures_of
from tests.trials.molt_plain import at, crayfish, steady

SPREAD = 0.3
SEEN = np.array([0.2, 0.7, 1.0, 1.4])


def told(seen: np.ndarray, arrived: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Chance, minus its slope by ln, and its second derivative, of intervals of typical length 1 seen for so long."""
    rows = np.arange(seen.size if arrived else 0)
    found = _lasting(np.log(seen)[None], np.full((1, seen.size), SPREAD), rows)
    return found[0][0], found[1][0], found[2][0]


def test_a_running_interval_is_right_censored() -> None:
    """It is longer than what has run of it: scipy.stats.lognorm.sf."""
    assert told(SEEN, False)[0] == pytest.approx(scipy.stats.lognorm(SPREAD).sf(SEEN), rel=1e-12)


def test_an_arrival_is_left_truncated() -> None:
    """The rest of an interval met at any moment of it: its density is the survival over the mean (renewal theory)."""
    law = scipy.stats.lognorm(SPREAD)
    wanted = [quad(law.sf, seen, np.inf)[0] / law.mean() for seen in SEEN]
    assert told(SEEN, True)[0] == pytest.approx(wanted, rel=1e-6)


@pytest.mark.parametrize("arrived", [False, True])
def test_slopes(arrived: bool) -> None:
    """Beside differences of the chance itself."""
    step = 1e-4
    low, middle, high = (told(SEEN * np.exp(by), arrived)[0] for by in (-step, 0.0, step))
    _, slope, bend = told(SEEN, arrived)
    assert slope == pytest.approx((low - high) / (2 * step), rel=1e-5, abs=1e-9)
    assert bend == pytest.approx((low + high - 2 * middle) / step**2, rel=1e-3, abs=1e-4)


def test_ages_of_arrivals() -> None:
    """Ages met at random moments: their mean is E(T^2) / (2 E(T)), the inspection paradox."""
    noise = 0.15
    ages, chances = _ages(renewal(noise, 0.01))
    usual = np.exp([0.5 * noise**2, 2.0 * noise**2])
    stray = np.exp([STRAY_LN + 0.5 * STRAY_SD**2, 2.0 * STRAY_LN + 2.0 * STRAY_SD**2])
    once, square = (1.0 - STRAY) * usual + STRAY * stray
    assert float(ages @ chances) == pytest.approx(square / (2.0 * once), rel=0.03)


def test_renewal_beside_draws() -> None:
    """Intervals drawn at random, each molt unseen with a chance: none seen up to an age, none at all for a while."""
    noise, missed, draws = 0.2, 0.2, 200_000
    rng = np.random.default_rng(11)
    ends, seen = [], []
    for turn in range(4):
        usual = np.exp(rng.normal(0.0, noise, draws))
        odd = np.exp(rng.normal(STRAY_LN, STRAY_SD, draws))
        ends.append(np.where(rng.random(draws) < STRAY, odd, usual) * GROWTH**turn)
        seen.append(rng.random(draws) >= missed)
    molts = np.cumsum(ends, axis=0)
    table = renewal(noise, missed)
    for age, ahead in ((0.0, 0.9), (0.8, 0.3), (1.5, 0.4), (2.3, 0.2)):
        before = molts <= age
        quiet = ~(before & np.array(seen)).any(axis=0)
        within = ((molts > age) & (molts <= age + ahead)).any(axis=0)
        found = float(table.at(np.array(age), np.array(ahead)))
        share = float((quiet & ~within).mean())
        assert found == pytest.approx(share, abs=4.0 * (share * (1.0 - share) / draws) ** 0.5 + 0.002)


def test_shrinkage() -> None:
    """Each animal's own pace is its mean deviation times n b^2 / (n b^2 + s^2): the normal-normal formula."""
    rng = np.random.default_rng(5)
    lives = []
    for number in range(60):
        own, days = float(rng.normal(0.0, 0.3)), [float(rng.uniform(1.0, 5.0))]
        for turn in range(int(rng.integers(1, 7))):
            days.append(days[-1] + 8.0 * 1.15 ** (0.8 * turn) * float(np.exp(own + rng.normal(0.0, 0.1))))
        lives.append(crayfish(number, days, mm=6.0, gain=0.15))
    pasts = [past_of(one, at(200.0)) for one in lives]
    rows = intervals_of(pasts, {"A": steady(20.0, 200.0)})
    pace = learn(rows, len(lives), figures_of("Procambarus clarkii"))
    seen = as_state(rows, 0)
    whole = rows.kind == Kind.WHOLE
    off = np.bincount(rows.animal[whole], (seen.y - seen.x @ pace.effects)[whole], len(lives))
    count = np.bincount(rows.animal[whole], minlength=len(lives))
    wanted = off * pace.between**2 / (count * pace.between**2 + pace.noise**2)
    some = (count > 0) & (pace.mature < 0.05)
    assert some.sum() > 30
    assert np.abs(pace.own - wanted)[some].max() < 0.05
    assert np.corrcoef(pace.own[some], wanted[some])[0, 1] > 0.99
    assert pace.noise == pytest.approx(0.1, abs=0.04)
    assert pace.between == pytest.approx(0.3, abs=0.1)
    assert (np.abs(wanted)[some] < np.abs(off / np.maximum(count, 1))[some]).all()
