"""What widens and what sharpens a window: a gap in temperature, premolt signs, molts of one's own, eggs."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.domain.husbandry import EventKind, PremoltSign
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.services.molts import MoltOutlook
from tests.support.colony import DAY_MS, log, settle
from tests.support.rooms import TestRoom, room

K = EventKind


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """60 days of 24 C each hour in t1; t2 says the same until 30 days ago, then nothing."""
    with room(tmp_path) as one:
        end_ms = one.now_ms - one.now_ms % 3_600_000
        for hour in range(60 * 24, 0, -1):
            one.now_ms = end_ms - hour * 3_600_000
            said = [RawReading("p1", Quantity.TEMPERATURE, one.now_ms, 24.0, "Cel")]
            if hour > 30 * 24:
                said.append(RawReading("p2", Quantity.TEMPERATURE, one.now_ms, 75.2, "[degF]"))
            one.take(*said)
        one.now_ms = end_ms
        yield one


def molter(lab: TestRoom, name: str, tank: str, days: tuple[int, ...] = (24,)) -> int:
    """An animal with molts so many days ago."""
    animal = settle(lab, name, tank, days_ago=58, carapace_mm=12.0, species="Procambarus clarkii")
    for days_ago in days:
        log(lab, K.MOLT, animal, days_ago=days_ago)
    return animal


def told(lab: TestRoom, animal: int) -> MoltOutlook:
    """What is foretold of it."""
    found = lab.service.molts.of(animal, lab.now_ms)
    assert found is not None
    return found


def width(one: MoltOutlook) -> float:
    """The length of its 80 % window, as a share of the time from the last molt to its middle. [1]"""
    low, high = one.window_80
    assert low is not None
    assert high is not None
    assert one.middle_ms is not None
    return (high - low) / (one.middle_ms - one.now_ms + one.basis.days * DAY_MS)


def test_weeks_without_temperature_widen_the_window_and_say_why(lab: TestRoom) -> None:
    """The same animal in the tank that kept its record has the narrower window."""
    known, unknown = told(lab, molter(lab, "Ada", "t1")), told(lab, molter(lab, "Bo", "t2"))
    assert width(unknown) > 1.1 * width(known)
    assert known.basis.known_share > 0.99
    assert unknown.basis.known_share < 0.05
    assert any("the window is wider" in line for line in unknown.warnings)
    assert not any("wider" in line for line in known.warnings)
    assert "temperature known for 0 % of the interval" in unknown.basis.words


def test_premolt_signs_bring_the_molt_nearer(lab: TestRoom) -> None:
    """A seam gap seen today makes a molt within three days likelier."""
    animal = molter(lab, "Ada", "t1")
    before = told(lab, animal)
    log(lab, K.PREMOLT, animal, signs=(PremoltSign.SEAM_GAP,))
    after = told(lab, animal)
    assert after.within_3d > 2.0 * before.within_3d
    assert (after.middle_ms or 0) < (before.middle_ms or 0)


def test_own_molts_sharpen_and_eggs_hold(lab: TestRoom) -> None:
    """Three molts at a steady pace against one; the berried clock stands still."""
    once = told(lab, molter(lab, "Ada", "t1", (6,)))
    steady = molter(lab, "Bo", "t1", (46, 27, 6))
    often = told(lab, steady)
    assert often.basis.own_molts == 3
    assert width(often) < 0.9 * width(once)
    mother = molter(lab, "Cleo", "t1", (6,))
    log(lab, K.EGGS_SEEN, mother, days_ago=2)
    held = told(lab, mother)
    assert held.held
    assert held.within_7d < once.within_7d
