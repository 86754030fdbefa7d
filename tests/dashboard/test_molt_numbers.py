"""The molt clock's numbers on the page: nothing is left out, nothing stands without its source or basis."""

from __future__ import annotations

import pytest

from api.domain.husbandry import PremoltSign
from api.molt.hardening import STAGES
from api.molt.species import JUDGED, PRACTICE
from api.molt.species_table import SPECIES
from api.services.molt_numbers import molt_numbers
from tests.dashboard.caller import Caller


def test_every_prior_is_shown_with_where_it_comes_from(client: Caller) -> None:
    """Each species, each figure with a source of ours, or judgement, or common practice."""
    page = client.get("/numbers").text
    assert [one for one in SPECIES if f"<b>{one.name}</b>" not in page] == []
    found = molt_numbers()
    lines = [line for one in found.species for line in one.figures] + list(found.effects)
    assert [line for line in lines if line.source is None and line.basis not in (JUDGED, PRACTICE)] == []
    assert "differ 2.8-fold: wide" in page
    assert "ln K = k0 + 0.8 ln(L)" in page
    assert page.count('href="#source-seitz_2005"') >= 3
    assert page.count('id="source-seitz_2005"') == 1


def test_hatching_signs_and_hardening_are_shown(client: Caller) -> None:
    """Published days to hatching (jin_2019: 20.8 at 25 C; redclaw_hatching: 30 at 27.8 C), each sign, each stage."""
    found = {one.name: dict(one.hatching) for one in molt_numbers().species}
    clarkii, redclaw = found["Procambarus clarkii"], found["Cherax quadricarinatus"]
    assert clarkii[20.0] > 30.3 > clarkii[24.0] > 20.8
    assert redclaw[24.0] == pytest.approx(45.0, rel=0.03)
    assert redclaw[28.0] == pytest.approx(30.0, rel=0.03)
    page = client.get("/numbers").text
    assert f"{redclaw[28.0]:.0f} days at 28 °C" in page
    assert [one.value for one in PremoltSign if one.value.replace("_", " ") not in page] == []
    assert [words for _, words, _ in STAGES if words not in page] == []
    assert page.count('href="#source-stevenson_molt_stages"') >= 1
