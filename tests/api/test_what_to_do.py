"""What to do: every kind and cause has its list, and no list leaves out the caution that belongs to it."""

from __future__ import annotations

import pytest

from api.domain.alert import AlertKind
from api.domain.cause import Cause, CauseName
from api.judge.what_to_do import BY_CAUSE, CHEMICALS, HEATER, MAINS, NO_ICE, SITE, SOFT, what_to_do


@pytest.mark.parametrize("kind", AlertKind)
def test_every_kind_has_a_short_list_and_defers_to_the_site(kind: AlertKind) -> None:
    """Two to six steps, each a sentence that fits a phone; the site's rules last."""
    made = what_to_do(kind)
    assert 2 <= len(made.steps) <= 6
    assert all(len(step) <= 160 and step[0].isupper() and step[-1] in ".?" for step in made.steps)
    assert made.cautions[-1] == SITE


@pytest.mark.parametrize("name", [name for name in CauseName if name is not CauseName.NOT_KNOWN])
def test_a_likely_cause_decides_and_an_unlikely_one_does_not(name: CauseName) -> None:
    """Half or more belief; below it the kind's own list."""
    likely = what_to_do(AlertKind.LOW_OXYGEN, [Cause(name, 0.5)])
    assert likely.steps == BY_CAUSE[name]
    assert likely.why
    assert MAINS in likely.cautions
    assert what_to_do(AlertKind.LOW_OXYGEN, [Cause(name, 0.49)]) == what_to_do(AlertKind.LOW_OXYGEN)


def test_a_cause_nobody_knows_leaves_the_kind_to_decide() -> None:
    """Not known is no cause to act on."""
    unknown = [Cause(CauseName.NOT_KNOWN, 0.9)]
    assert what_to_do(AlertKind.HEAT, unknown) == what_to_do(AlertKind.HEAT)


def test_the_usual_cautions_stand_where_they_are_needed() -> None:
    """Mains and water, the heater's glass, no ice, no copper and chlorine, no metal near the soft animal."""
    assert {MAINS, HEATER, NO_ICE} <= set(what_to_do(AlertKind.HEAT).cautions)
    assert {MAINS, CHEMICALS, SOFT} <= set(what_to_do(AlertKind.LOW_OXYGEN).cautions)
    assert "residual-current" in MAINS
    assert "electrician" in MAINS
    assert "copper" in CHEMICALS
    assert "dechlorinated" in CHEMICALS
    assert "metal" in SOFT
