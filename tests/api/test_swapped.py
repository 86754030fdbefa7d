"""Two probes put back into each other's tank are told as that, both of them, until they hang where they belong.

Waters are invented: a thermostat's turns of 0.25 K around 26.8 and 24.9 degC, with oxygen at 92 % of air saturation.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from api.domain.alert import AlertEvent, AlertKind, Event
from api.domain.care import WARM_WATER
from api.domain.cause import CauseName
from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag
from api.domain.tank import Probe, Room, ServiceSettings, Tank, Value
from api.judge.swapped import Moved, swapped
from api.science.oxygen import saturation_mg_l
from api.services.plan import RoomPlan
from tests.support.bare_judging import bare_judging

Q = Quantity
BOTH = (Q.TEMPERATURE, Q.OXYGEN)
HOUR_MS = 3_600_000
SET_C = {"warm": 26.8, "cool": 24.9, "third": 25.9}


def water(tank: str, hour: float) -> tuple[float, float]:
    """A tank's water."""
    warm_c = SET_C[tank] + 0.25 * float(np.sin(hour * 4.0 + SET_C[tank]))
    return warm_c, 0.92 * saturation_mg_l(warm_c)


def heard(hangs: Callable[[str, float], str], hours: float, every_s: int = 60) -> list[AlertEvent]:
    """What is told of three tanks, whose probes hang where ``hangs`` says; after 20 hours as usual."""
    plan = RoomPlan(
        room=Room("room", "UTC"),
        tanks={tank: Tank(tank, tank, 40.0) for tank in SET_C},
        probes={
            f"of {tank}": Probe(
                f"of {tank}", "none", tank, float(every_s), (Value(BOTH[0], "Cel"), Value(BOTH[1], "mg/L"))
            )
            for tank in SET_C
        },
        care={WARM_WATER.name: WARM_WATER},
        notify=(),
        settings=ServiceSettings(),
    )
    judging, chance, events = bare_judging(), np.random.default_rng(2), list[AlertEvent]()
    for look in range(round((20.0 + hours) * 3600 / every_s)):
        hour = look * every_s / 3600.0
        judging.begin()
        for tank in SET_C:
            probe = f"of {tank}"
            for quantity, value in zip(BOTH, water(hangs(tank, hour - 20.0), hour), strict=True):
                said = round(value + 0.015 * chance.standard_normal(), 2)
                one = CheckedReading(probe, quantity, look * every_s * 1000, said, "x", said, Flag.GOOD)
                judging.judge(one, plan.channel(probe, quantity), False, events)
        judging.done()
        judging.settle(True)
    return events


def exchanged(tank: str, hour: float) -> str:
    """The warm and the cool tank's probes are swapped for three hours."""
    other = {"warm": "cool", "cool": "warm"}.get(tank, tank)
    return other if 0 <= hour < 3.0 else tank


@pytest.mark.parametrize("every_s", [30, 60, 300])
def test_swapped_probes_are_told_within_half_an_hour_and_until_they_are_back(every_s: int) -> None:
    """Both, with the other's name, and nothing of the third."""
    events = heard(exchanged, 4.0, every_s)
    told = [one for one in events if one.subject.kind is AlertKind.NOT_KNOWN and one.event is Event.RAISED]
    assert {one.subject.probe for one in told} == {"of warm", "of cool"}
    for one in told:
        assert one.time_ms <= 20.5 * HOUR_MS
        assert one.causes[0].name is CauseName.PROBES_SWAPPED
        assert any("of warm in tank warm" in text for text in one.causes[0].evidence)
    over = [one for one in events if one.subject.kind is AlertKind.NOT_KNOWN and one.event is Event.RETURNED]
    assert {one.subject.probe for one in over} == {"of warm", "of cool"}
    assert all(23.0 * HOUR_MS < one.time_ms < 24.0 * HOUR_MS for one in over)


def test_two_probes_cleaned_at_the_same_time_are_not_swapped() -> None:
    """Each hangs in the third's water for ten minutes, as in a bucket, and is put back."""
    events = heard(lambda tank, hour: "third" if 0 <= hour < 1 / 6 else tank, 2.0)
    assert [one for one in events if one.subject.kind is AlertKind.NOT_KNOWN] == []


def probe(tank: str, was: float, now: float, moved_ms: int = 0, oxygen: tuple[float, float] | None = None) -> Moved:
    """A probe that was moved."""
    values = {Q.TEMPERATURE: (was, now)} | ({Q.OXYGEN: oxygen} if oxygen is not None else {})
    return Moved(
        tank, f"of {tank}", moved_ms, {q: v[0] for q, v in values.items()}, {q: v[1] for q, v in values.items()},
        frozenset({Q.TEMPERATURE}),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("one", "other", "found"),
    [
        (probe("a", 26.8, 24.9), probe("b", 25.0, 26.7), True),
        (probe("a", 26.8, 24.9), probe("b", 25.0, 25.0), False),  # only one of them changed
        (probe("a", 26.8, 24.9), probe("b", 26.5, 24.9), False),  # both cooled: a poured change in two alike
        (probe("a", 26.8, 26.5), probe("b", 26.5, 26.8), False),  # too alike to tell
        (probe("a", 26.8, 24.9), probe("a", 25.0, 26.7), False),  # two probes of one tank: top and bottom
        (probe("a", 26.8, 24.9), probe("b", 25.0, 26.7, HOUR_MS), False),  # an hour later
        (probe("a", 26.8, 24.9, oxygen=(7.2, 7.2)), probe("b", 25.0, 26.7, oxygen=(5.9, 5.9)), False),  # not oxygen
        (probe("a", 26.8, 24.9, oxygen=(7.2, 7.2)), probe("b", 25.0, 26.7, oxygen=(7.5, 7.5)), True),
    ],
)
def test_each_must_stand_where_the_other_was(one: Moved, other: Moved, found: bool) -> None:
    """In every quantity both have, and moved at about one time."""
    assert (swapped(one, [other]) is not None) is found
    assert (swapped(other, [one]) is not None) is found
