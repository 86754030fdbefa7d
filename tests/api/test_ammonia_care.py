"""Limits of total ammonia that follow pH and temperature, so that the un-ionised part stays the same."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from api.domain.care_change import TANK
from api.domain.husbandry import EventKind, Husbandry
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.judge.ammonia_care import BUILT_IN, followed
from api.services.care import Wish
from api.services.kit import kit_value
from tests.support.rooms import ROOM, TestRoom, room

PROBE = """
[[probe]]
id = "nh1"
tank = "t1"
driver = "none"
value = [{ quantity = "ammonia", unit = "mg/L" }, { quantity = "ph", unit = "pH" }]
"""


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """t1 with a probe of ammonia and pH beside its thermometer."""
    with room(tmp_path, ROOM.replace("[[notify]]", PROBE + "[[notify]]")) as one:
        yield one


def limit(lab: TestRoom) -> float | None:
    """Above which ammonia is an alert in t1, after a look."""
    lab.service.foresight.ammonia.look()
    plan = lab.service.plan()
    found = plan.range_of(plan.tanks["t1"], Quantity.AMMONIA)
    return found.tolerable_high if found is not None else None


def say(lab: TestRoom, ph: float | None, warmth_c: float) -> None:
    """The probes speak."""
    lab.now_ms += 60_000
    lab.take(RawReading("p1", Quantity.TEMPERATURE, lab.now_ms, warmth_c, "Cel"))
    if ph is not None:
        lab.take(RawReading("nh1", Quantity.PH, lab.now_ms, ph, "pH"))


@pytest.mark.parametrize(
    ("ph", "temperature_c", "percent"),
    # un-ionised shares as an extension service prints them (tests/published/ammonia_fraction.json); the last: memory
    [(8.0, 26.0, 5.74), (8.4, 26.0, 13.26), (8.2, 22.0, 6.76), (9.0, 30.0, 44.6)],
)
def test_the_unionised_part_at_the_limit_stays_the_same(ph: float, temperature_c: float, percent: float) -> None:
    """1.8 mg/L at pH 7.6 and 26 °C is 0.043 mg/L un-ionised; so it is at each of these, to the two digits given."""
    made = followed(BUILT_IN, ph, temperature_c)
    assert made.tolerable_high is not None
    assert made.tolerable_high * percent / 100 == pytest.approx(1.8 * 0.0236, rel=0.05)
    assert f"at pH {ph:.1f}" in made.source_of("tolerable_high")
    assert made.deadband < made.tolerable_high / 5


def test_never_looser_and_never_a_person_s_number() -> None:
    """At pH 7 they stay; a keeper's own limit stays; where the share cannot be told nothing changes."""
    assert followed(BUILT_IN, 7.0, 20.0) is BUILT_IN
    assert followed(BUILT_IN, 15.0, 20.0) is BUILT_IN
    assert followed(BUILT_IN, 8.0, 60.0) is BUILT_IN
    own = replace(BUILT_IN, tolerable_high=1.0, target_high=0.5, sources=(("tolerable_high", "Ana: our water"),))
    assert followed(own, 8.5, 26.0) is own


def test_the_tank_s_limit_follows_its_probes_and_its_kit(lab: TestRoom) -> None:
    """Without pH as it stands; with a kit's pH; with a probe's; not with one of yesterday."""
    say(lab, None, 25.0)
    assert limit(lab) == 1.8
    tested = (kit_value(Quantity.PH, 8.5, "pH"),)
    event = Husbandry(EventKind.TESTED, lab.now_ms, tank="t1", tested=tested)
    lab.service.events.enter(event, "Ana", lab.now_ms).result()
    assert limit(lab) == pytest.approx(0.28, abs=0.01)
    say(lab, 8.0, 25.0)
    assert limit(lab) == pytest.approx(0.79, abs=0.02)
    plan = lab.service.plan()
    for _ in range(3):
        say(lab, 8.02, 25.1)
        limit(lab)
    assert lab.service.plan() is plan, "small steps make no new plan"
    lab.now_ms += 8 * 86_400_000
    assert limit(lab) == 1.8


def test_an_alert_begins_at_the_followed_limit(lab: TestRoom) -> None:
    """1 mg/L is borne at pH 7.6, and is too much at pH 8.5."""
    say(lab, 8.5, 25.0)
    limit(lab)
    for n in range(15):
        lab.now_ms += 60_000
        lab.take(RawReading("nh1", Quantity.AMMONIA, lab.now_ms, 1.0 + 0.01 * (n % 3), "mg/L"))
    (alert,) = [one for one in lab.service.read.alerts(None) if one.kind == "outside_care"]
    assert alert.limit == pytest.approx(0.28, abs=0.01)
    assert "ammonia 1.0" in alert.text
    wish = Wish(TANK, "t1", Quantity.AMMONIA, {"tolerable_high": 1.5})
    lab.service.care.change(wish, "Ana", "tried here").result()
    assert limit(lab) == 1.5
