"""The worst value of an alert is the extreme on the side it was raised for, also of one raised by forecast."""

from __future__ import annotations

from dataclasses import replace

import pytest

from api.domain.alert import AlertKind, Priority, Subject
from api.domain.band import Side
from api.domain.care import WARM_WATER, CareRange
from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag
from api.judge.alert_cycle import AT_ONCE, Sample, Track, step
from api.judge.assess import assess
from api.judge.samples import sample

MINUTE_MS = 60_000


def care_of(quantity: Quantity) -> CareRange:
    """The built-in range."""
    care = WARM_WATER.range_of(quantity)
    assert care is not None
    return care


def looks(quantity: Quantity, side: Side | None, values: list[float], expected: int) -> list[Sample]:
    """Samples of readings a minute apart; the first ``expected`` ones are raised by what is expected of them."""
    care, out = care_of(quantity), []
    for minute, value in enumerate(values):
        reading = CheckedReading("p", quantity, (minute + 1) * MINUTE_MS, value, "x", value, Flag.GOOD)
        one = sample(reading, side, assess(value, care), care, late=False)
        if minute < expected and one.level is None:
            limit = care.danger_low if side is Side.LOW else care.danger_high
            one = replace(one, level=Priority.URGENT, limit=limit, back=False)
        out.append(one)
    return out


@pytest.mark.parametrize(
    ("quantity", "side", "values", "worst"),
    [
        (Quantity.OXYGEN, Side.LOW, [6.1, 5.7, 5.3, 5.5, 5.6], 5.3),
        (Quantity.OXYGEN, Side.LOW, [6.1, 5.2, 4.6, 5.1, 5.6], 4.6),
        (Quantity.TEMPERATURE, Side.HIGH, [29.0, 29.8, 30.6, 30.1, 29.9], 30.6),
        (Quantity.TEMPERATURE, Side.HIGH, [29.0, 30.8, 31.4, 30.9, 29.9], 31.4),
    ],
)
def test_forecast_alerts_keep_the_extreme_of_their_side(
    quantity: Quantity, side: Side, values: list[float], worst: float
) -> None:
    """Raised far from the limit that is expected, and going on after nothing is expected any more."""
    track = Track(Subject("t", AlertKind.LOW_OXYGEN, "p"))
    for one in looks(quantity, side, values, expected=4):
        track, _ = step(track, one, AT_ONCE)
    assert track.worst == worst


def test_a_kind_of_both_sides_takes_the_side_it_left_by() -> None:
    """Colder and colder, then somewhat warmer: the coldest."""
    track = Track(Subject("t", AlertKind.OUTSIDE_CARE, "p"))
    for one in looks(Quantity.TEMPERATURE, None, [19.5, 18.2, 19.0, 21.0], expected=0):
        track, _ = step(track, one, AT_ONCE)
    assert track.worst == 18.2


def test_samples_without_a_side_go_by_their_limit() -> None:
    """As those of other services do; without a limit the newest value stands."""
    track = Track(Subject("t", AlertKind.OUTSIDE_CARE, "p"))
    for minute, (value, limit) in enumerate([(4.5, 5.0), (4.2, 5.0), (4.4, 5.0)]):
        track, _ = step(track, Sample(minute + 1, Priority.TODAY, value, limit, back=False), AT_ONCE)
    assert track.worst == 4.2
    track, _ = step(track, Sample(9, Priority.TODAY, 4.9, None, back=False), AT_ONCE)
    assert track.worst == 4.9
