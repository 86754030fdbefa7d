"""Rehearsed alerts: told steps to alerts with beginning and end, both settings beside each other, numbers moved."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from api.domain.alert import AlertKind, Event, Priority
from api.domain.errors import InputError, NotFound
from api.domain.quantity import Quantity
from api.rehearsal.rehearsed import stood
from api.rehearsal.stepwise import Told
from api.services.rehearsing import Rehearsed, beside, moved, narrowed
from tests.support.rooms import TestRoom, room

MINUTE_MS = 60_000


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """Two tanks."""
    with room(tmp_path) as one:
        yield one


def told(minute: int, event: Event, priority: Priority = Priority.TODAY, probe: str = "p1") -> Told:
    """One step of low oxygen in t1."""
    time_ms = minute * MINUTE_MS
    about = ("t1", AlertKind.LOW_OXYGEN, probe, Quantity.OXYGEN)
    return Told(time_ms, time_ms, *about, priority, event, 4.0, 5.0, f"at {minute}", (), None)


def alert(start: int, end: int | None, probe: str = "p1") -> Rehearsed:
    """One alert of low oxygen, in minutes."""
    end_ms = None if end is None else end * MINUTE_MS
    at = start * MINUTE_MS
    about = ("t1", AlertKind.LOW_OXYGEN, probe, Quantity.OXYGEN)
    return Rehearsed(*about, Priority.TODAY, at, at, end_ms, "")


def test_steps_become_alerts(lab: TestRoom) -> None:
    """The worst priority, the first phone, the end; what ended before the time asked for is not among them."""
    plan = lab.service.plan()
    steps = [
        told(1, Event.RAISED),
        told(5, Event.CLEARED),
        told(10, Event.RAISED),
        told(11, Event.RAISED, probe="p9"),
        told(20, Event.ESCALATED, Priority.URGENT),
        told(40, Event.CLEARED, Priority.URGENT),
        told(50, Event.FOUND_LATE, Priority.NOTE),
    ]
    found = stood(steps, plan, 6 * MINUTE_MS)
    said = [(one.probe, one.raised_ms // MINUTE_MS, one.priority, one.ended_ms, one.phone_ms) for one in found]
    assert said == [
        ("p1", 10, Priority.URGENT, 40 * MINUTE_MS, 10 * MINUTE_MS),
        ("p9", 11, Priority.TODAY, None, 11 * MINUTE_MS),
        ("p1", 50, Priority.NOTE, None, None),
    ]


def test_alerts_that_stand_together_are_a_pair() -> None:
    """One subject at one time; others stand alone, in the order of time."""
    now = [alert(10, 20), alert(50, 60), alert(70, None, "p2")]
    other = [alert(5, 12), alert(30, 40), alert(80, None, "p2"), alert(50, 60, "p3")]
    assert beside(now, other) == [
        (now[0], other[0]),
        (None, other[1]),
        (now[1], None),
        (None, other[3]),
        (now[2], other[2]),
    ]


def test_a_narrowed_room_judges_by_what_is_in_force(lab: TestRoom) -> None:
    """Its one tank, its probes, a soft animal's tighter range; the room itself stays as it was."""
    plan = replace(lab.service.plan(), soft=frozenset({"t1"}), _channels={})
    small = narrowed(plan, ["t1"])
    assert (list(small.tanks), list(small.probes)) == (["t1"], ["p1"])
    whole, part = plan.channel("p1", Quantity.OXYGEN), small.channel("p1", Quantity.OXYGEN)
    assert (whole.care, whole.kinds, whole.limits) == (part.care, part.kinds, part.limits)
    assert part.care != lab.service.plan().channel("p1", Quantity.OXYGEN).care
    other = moved(small, Quantity.OXYGEN, {"tolerable_low": 5.9, "on_delay_s": 60.0, "danger_low": None})
    care = other.channel("p1", Quantity.OXYGEN).care
    assert care is not None
    assert (care.tolerable_low, care.on_delay_s, care.danger_low) == (5.9, 60.0, None)
    assert other.channel("p1", Quantity.TEMPERATURE).care == small.channel("p1", Quantity.TEMPERATURE).care
    assert whole.care == plan.channel("p1", Quantity.OXYGEN).care


@pytest.mark.parametrize(
    ("numbers", "words"),
    [
        ({"tolerable_low": 99.0}, "above"),
        ({"on_delay_s": -1.0}, "negative"),
        ({"on_delay_s": None}, "needs a number"),
        ({"colour": 1.0}, "is no number a rehearsal follows"),
        ({"danger_low": float("nan")}, "no number that can be used"),
    ],
)
def test_numbers_that_cannot_be_are_refused(lab: TestRoom, numbers: dict[str, float | None], words: str) -> None:
    """With the number's name."""
    plan = narrowed(lab.service.plan(), ["t1"])
    with pytest.raises(InputError, match=words):
        moved(plan, Quantity.OXYGEN, {**{"target_low": 6.0}, **numbers})
    with pytest.raises(NotFound):
        narrowed(lab.service.plan(), ["t9"])
    with pytest.raises(InputError):
        narrowed(lab.service.plan(), [])
