"""What a test kit's values mean beside the care range.

The un-ionised share is Emerson's (1975), pKa = 0.09018 + 2729.92 / T: 2.37 % at pH 7.6 and 26 °C, 5.74 % at pH 8.0.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.domain.care_chemistry import CHEMISTRY
from api.domain.care_species import BUILT_IN
from api.domain.husbandry import EventKind, Husbandry
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.services.kit import kit_value
from tests.support.rooms import TestRoom, room

UNITS = {Quantity.PH: "pH"}


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """A room whose t1 is at 26 °C; of t2 nothing is known."""
    with room(tmp_path) as one:
        one.take(RawReading("p1", Quantity.TEMPERATURE, one.now_ms, 26.0, "Cel"))
        yield one


def said(lab: TestRoom, tank: str = "t1", **values: float) -> list[str]:
    """What is said when somebody enters these."""
    tested = tuple(
        kit_value(Quantity(name), value, UNITS.get(Quantity(name), "mg/L")) for name, value in values.items()
    )
    event = Husbandry(EventKind.TESTED, lab.now_ms, tank=tank, tested=tested)
    return list(lab.service.events.enter(event, "Ana", lab.now_ms).result().reminders)


def test_every_profile_has_the_chemistry_and_no_alarm_at_night_for_it() -> None:
    """Seven quantities in each; none has a danger limit, which is what rings at night; conductivity has no number."""
    for profile in BUILT_IN:
        assert [one for one in profile.ranges if one.quantity in {care.quantity for care in CHEMISTRY}] == [*CHEMISTRY]
        assert profile.range_of(Quantity.CONDUCTIVITY) is None
    assert all(one.danger_low is None and one.danger_high is None for one in CHEMISTRY)


@pytest.mark.parametrize(
    ("quantity", "number", "published"),
    [
        (Quantity.PH, "target_low", 7.0),  # business.qld.gov.au: red claw pH 7 to 8.5
        (Quantity.PH, "target_high", 8.5),
        (Quantity.HARDNESS, "tolerable_low", 50.0),  # business.qld.gov.au: below 50 ppm molting and shell problems
        (Quantity.HARDNESS, "target_high", 200.0),  # SEAFWA 1969: growth and survival rise to 200 ppm
        (Quantity.AMMONIA, "tolerable_high", 1.8),  # red claw juveniles: safe total at pH 7.6, 26 C
        (Quantity.AMMONIA, "target_high", 0.02 / 0.0237),  # 0.02 mg/L NH3-N over Emerson's 2.37 %
        (Quantity.CALCIUM, "target_low", 80 * 40.078 / 100.086),  # 80 mg/L as CaCO3, atomic weights of IUPAC
    ],
)
def test_numbers_beside_their_sources(quantity: Quantity, number: str, published: float) -> None:
    """Within the digits the source gives."""
    care = next(one for one in CHEMISTRY if one.quantity is quantity)
    assert getattr(care, number) == pytest.approx(published, rel=0.01)
    assert care.source_of(number) not in ("", care.source)


def test_what_is_well_is_not_remarked(lab: TestRoom) -> None:
    """Good water: no words."""
    assert said(lab, ph=7.6, ammonia=0.1, nitrite=0.1, nitrate=20, hardness=150, alkalinity=100, calcium=50) == []


def test_each_value_outside_says_its_limit_and_its_source(lab: TestRoom) -> None:
    """Tolerable is said calmly, outside with what not to do."""
    soft, acid, nitrate = said(lab, hardness=40, ph=6.7, nitrate=80)
    assert soft.startswith("hardness 40 mg/L as CaCO3 is below 50 mg/L as CaCO3 (tolerable; below 50 mg/L molting")
    assert soft.endswith("Change it slowly.")
    assert acid.startswith("pH 6.70")
    assert "below 7.00" in acid
    assert "Change it slowly" not in acid
    assert "(target; judgement)" in nitrate


def test_ammonia_is_told_by_its_unionised_part(lab: TestRoom) -> None:
    """1 mg/L: 0.024 at pH 7.6 is a warning; at pH 8.0 0.057, so act; at pH 7.0 0.006, so nothing."""
    assert said(lab, ammonia=0.8, ph=7.0) == []
    (warned,) = [one for one in said(lab, ammonia=1.0, ph=7.6) if "un-ionised" in one]
    assert "0.024 mg/L of the ammonia is un-ionised (as N, at pH 7.6, 26.0 °C), above 0.02" in warned
    (act,) = [one for one in said(lab, ammonia=1.0, ph=8.0) if "un-ionised" in one]
    assert "above 0.05" in act
    assert "dechlorinated" in act


def test_what_is_not_known_is_said(lab: TestRoom) -> None:
    """Without pH, and in a tank without a thermometer."""
    assert said(lab, ammonia=0.3) == [
        "How much of the ammonia is un-ionised is not known without the pH: test that too."
    ]
    assert "without the pH and temperature" in said(lab, tank="t2", ammonia=0.3)[0]
    assert said(lab, tank="t2", ammonia=0.0) == []
