"""Words of the conditions report: decimals that never say 0, and tanks by name or id."""

from __future__ import annotations

import pytest

from api.domain.tank import Tank
from api.services.report_words import _decimals, named


@pytest.mark.parametrize(
    ("usual", "sd", "decimals"),
    [
        (1, 0.35, 1),
        (1, 0.06, 1),
        (1, 0.04, 2),
        (1, 0.004, 3),
        (0, 0.7, 1),
        (2, 0.001, 3),
        (1, 0.0, 1),
        (1, 1e-12, 1),
        (1, None, 1),
    ],
)
def test_a_spread_is_not_said_to_be_nothing(usual: int, sd: float | None, decimals: int) -> None:
    """7.52 ± 0.04, not 7.5 ± 0.0; where nothing scatters, 0.0 is true."""
    assert _decimals(usual, sd) == decimals


def test_a_name_that_is_its_id_is_said_once() -> None:
    """North 1 (north-1), but B2."""
    assert named(Tank("north-1", "North 1", 40.0)) == "North 1 (north-1)"
    assert named(Tank("B2", "B2", 40.0)) == "B2"
