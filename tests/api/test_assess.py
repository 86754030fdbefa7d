"""A value beside its care range: limits belong inside, and what is not judged is never called good."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.domain.band import SEVERITY, Band, Side
from api.domain.care import WARM_WATER, CareRange
from api.domain.errors import InputError
from api.domain.quantity import Quantity
from api.judge.assess import assess

FULL = CareRange(
    Quantity.TEMPERATURE,
    target_low=24,
    target_high=29,
    tolerable_low=20,
    tolerable_high=31,
    danger_low=12,
    danger_high=34,
)


@pytest.mark.parametrize(
    ("value", "band", "side", "limit"),
    [
        (11.99, Band.DANGER, Side.LOW, 12),
        (12.0, Band.OUTSIDE, Side.LOW, 20),
        (19.99, Band.OUTSIDE, Side.LOW, 20),
        (20.0, Band.TOLERABLE, Side.LOW, None),
        (23.99, Band.TOLERABLE, Side.LOW, None),
        (24.0, Band.TARGET, Side.WITHIN, None),
        (29.0, Band.TARGET, Side.WITHIN, None),
        (29.01, Band.TOLERABLE, Side.HIGH, None),
        (31.0, Band.TOLERABLE, Side.HIGH, None),
        (31.01, Band.OUTSIDE, Side.HIGH, 31),
        (34.0, Band.OUTSIDE, Side.HIGH, 31),
        (34.01, Band.DANGER, Side.HIGH, 34),
    ],
)
def test_each_band_and_its_edges(value: float, band: Band, side: Side, limit: float | None) -> None:
    """Every band from cold danger to hot danger."""
    found = assess(value, FULL)
    assert (found.band, found.side, found.limit) == (band, side, limit)


@pytest.mark.parametrize(
    ("limits", "value", "band"),
    [
        ({"tolerable_low": 5.0, "danger_low": 3.0}, 1.0, Band.DANGER),
        ({"tolerable_low": 5.0, "danger_low": 3.0}, 4.0, Band.OUTSIDE),
        ({"tolerable_low": 5.0, "danger_low": 3.0}, 5.0, Band.TARGET),
        ({"danger_low": 3.0}, 2.9, Band.DANGER),
        ({"danger_high": 34.0}, 40.0, Band.DANGER),
        ({"target_low": 24.0, "danger_high": 34.0}, 40.0, Band.DANGER),
        ({"target_low": 24.0, "tolerable_high": 31.0}, 32.0, Band.OUTSIDE),
        ({"target_low": 6.0, "danger_low": 3.0}, 4.0, Band.TOLERABLE),
        ({"target_low": 6.0}, 1.0, Band.TOLERABLE),
    ],
)
def test_bands_that_are_not_set(limits: dict[str, Any], value: float, band: Band) -> None:
    """A range may give some of its limits only; those it gives hold."""
    assert assess(value, replace(CareRange(Quantity.OXYGEN), **limits)).band is band


def test_nothing_to_judge_by_is_unknown() -> None:
    """No value, no range, or a range without a limit."""
    for found in (assess(None, FULL), assess(25.0, None), assess(25.0, CareRange(Quantity.PH))):
        assert found.band is Band.UNKNOWN


def test_limits_that_contradict_each_other_are_refused() -> None:
    """Also when a band between them is not set."""
    with pytest.raises(InputError, match="danger_low 30 is above target_high 29"):
        CareRange(Quantity.TEMPERATURE, danger_low=30, target_high=29)
    with pytest.raises(InputError, match="cannot be negative"):
        CareRange(Quantity.TEMPERATURE, target_low=1, on_delay_s=-1)


@given(st.floats(-20, 60), st.floats(-20, 60))
def test_further_from_the_target_is_never_better(one: float, other: float) -> None:
    """On either side the band only worsens with distance."""
    middle = 26.5
    near, far = sorted((one, other), key=lambda value: abs(value - middle))
    if (near < middle) == (far < middle):
        care = WARM_WATER.range_of(Quantity.TEMPERATURE)
        assert SEVERITY[assess(near, care).band] <= SEVERITY[assess(far, care).band]
