"""Causes from signs: each named first where it should be, never without evidence, shares that add up.

Which cause follows from which sign is common practice, no source; the physics beside it is the oxygen balance.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.domain.cause import CAUSE_SHORT, CAUSE_WORDS, Cause, CauseName
from api.judge.causes import Signs, of_cold, of_heat, of_oxygen

STOPPED = Signs(
    oxygen_slope=-1.4, oxygen_steepest=-1.5, oxygen_grows=0.02, oxygen_slow=0.9, oxygen_minutes=40.0,
    oxygen_below=0.8, oxygen_deficit=0.9,
)  # fmt: skip
ROTTING = replace(STOPPED, oxygen_slope=-3.5, oxygen_steepest=-4.0, oxygen_deficit=0.3, oxygen_grows=0.9)
FOULED = replace(
    STOPPED, oxygen_slope=-0.2, oxygen_steepest=-0.25, oxygen_slow=0.5, oxygen_minutes=400.0, oxygen_deficit=0.9
)
HOT = Signs(heat_slope=1.9, heat_minutes=60.0, heat_beyond=1.2)
COLD = Signs(heat_slope=-0.4, heat_minutes=120.0, heat_beyond=-0.9)


def first(causes: tuple[Cause, ...]) -> CauseName:
    """The likeliest."""
    return causes[0].name


@pytest.mark.parametrize(
    ("causes", "name"),
    [
        (of_oxygen(STOPPED), CauseName.LOST_AIR),
        (of_oxygen(ROTTING), CauseName.RISING_DEMAND),
        (of_oxygen(FOULED), CauseName.PROBE_DRIFTING),
        (of_oxygen(replace(STOPPED, flow_share=0.1)), CauseName.STAGNATION),
        (of_oxygen(replace(STOPPED, gradient_k=0.9)), CauseName.STAGNATION),
        (of_oxygen(replace(STOPPED, cooling_too=True)), CauseName.POWER_CUT),
        (of_oxygen(replace(STOPPED, others=8, others_starve=6, others_cool=5)), CauseName.POWER_CUT),
        (of_heat(HOT), CauseName.HEATER_STUCK_ON),
        (of_heat(replace(HOT, others=8, others_warm=6)), CauseName.ROOM_HEATING),
        (of_cold(COLD), CauseName.HEATER_DEAD),
        (of_cold(replace(COLD, others=8, others_cool=6)), CauseName.ROOM_COOLING),
        (of_cold(replace(COLD, oxygen_slope=-1.0, oxygen_below=0.5)), CauseName.POWER_CUT),
    ],
)
def test_the_right_cause_comes_first(causes: tuple[Cause, ...], name: CauseName) -> None:
    """With at least one sentence of evidence."""
    assert first(causes) is name
    assert causes[0].evidence
    assert all(sentence for cause in causes for sentence in cause.evidence)


def test_alone_in_its_room_is_no_power_cut() -> None:
    """Seven other tanks as usual: that is evidence too, and is told."""
    cause = of_oxygen(replace(STOPPED, cooling_too=True, others=7))[0]
    assert cause.name is CauseName.LOST_AIR
    assert "none but this tank: 7 others are as usual" in cause.evidence


def test_nothing_seen_is_not_known() -> None:
    """No label without evidence."""
    for causes in (of_oxygen(Signs()), of_heat(Signs()), of_cold(Signs())):
        assert first(causes) is CauseName.NOT_KNOWN


numbers = st.floats(-6.0, 6.0)


@given(
    slope=numbers, steep=st.floats(-6.0, 0.0), grows=st.floats(0, 1), slow=st.floats(0, 1), minutes=st.floats(0, 3000),
    deficit=st.one_of(st.none(), st.floats(-1.0, 6.0)), heat=numbers, others=st.integers(0, 50),
)  # fmt: skip
def test_shares_add_up_to_no_more_than_one(
    slope: float,
    steep: float,
    grows: float,
    slow: float,
    minutes: float,
    deficit: float | None,
    heat: float,
    others: int,
) -> None:
    """In order, each with evidence but the one that says it is not known."""
    signs = Signs(
        slope, steep, grows, slow, minutes, 0.5, deficit, heat, minutes, heat, others, others // 2, 0, others // 3
    )
    for causes in (of_oxygen(signs), of_heat(signs), of_cold(signs)):
        assert 0.0 < sum(cause.share for cause in causes) <= 1.0 + 1e-9
        assert [cause.share for cause in causes] == sorted((cause.share for cause in causes), reverse=True)
        assert all(cause.evidence or cause.name is CauseName.NOT_KNOWN for cause in causes)


def test_every_cause_has_words() -> None:
    """Long ones for a page, short ones for a phone; not known needs no short ones."""
    assert set(CAUSE_WORDS) == set(CauseName)
    assert set(CAUSE_SHORT) == set(CauseName) - {CauseName.NOT_KNOWN}
    assert all(len(words) <= 24 for words in CAUSE_SHORT.values())
