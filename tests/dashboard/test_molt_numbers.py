"""The molt clock's numbers on the page: nothing is left out, nothing stands without its source or basis."""

from __future__ import annotations

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
