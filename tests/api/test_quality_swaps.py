"""A unit that seems to have been swapped is asked about with the reading."""

from __future__ import annotations

import pytest

from api.domain.checks import CheckLimits
from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.judge.check_stream import Stream
from api.judge.check_swaps import looks_swapped
from tests.support.quality_walk import LIMITS, START_MS, final, walk

SWAPS = [
    (Quantity.TEMPERATURE, 25.1, 77.2, "77.2 as °F is 25.1 °C: has the probe changed its unit?"),
    (Quantity.TEMPERATURE, 25.1, 298.25, "298.25 as K is 25.1 °C: has the probe changed its unit?"),
    (Quantity.TEMPERATURE, 25.1, -3.83, "-3.8 °C is 25.1 °C read as °F: has the probe changed its unit?"),
    (Quantity.TEMPERATURE, 25.1, 30.0, ""),
    (Quantity.OXYGEN, 8.0, 96.8, "96.8 as % of air saturation could be 8 mg/L: has the probe changed its unit?"),
    (Quantity.OXYGEN, 8.0, 250.0, "250 as µmol/L is 8 mg/L: has the probe changed its unit?"),
    (Quantity.OXYGEN, 8.0, 5.0, ""),
    (Quantity.OXYGEN, 0.0, 0.0, ""),
    (Quantity.OXYGEN_SATURATION, 96.8, 8.0, "8 as mg/L could be 96.8 % of air saturation: has the probe"),
    (Quantity.CONDUCTIVITY, 512.0, 0.51, "0.51 as mS/cm is 510 µS/cm at 25 °C: has the probe changed its unit?"),
    (Quantity.CONDUCTIVITY, 512.0, 512_000.0, "512000 µS/cm at 25 °C is 512 µS/cm at 25 °C read as mS/cm: has"),
    (Quantity.PRESSURE, 101.3, 1013.0, "1013 as hPa is 101 kPa: has the probe changed its unit?"),
    (Quantity.PRESSURE, 101.3, 760.0, "760 as mmHg is 101 kPa: has the probe changed its unit?"),
    (Quantity.PH, 7.0, 9.0, ""),
]  # fmt: skip


@pytest.mark.parametrize(("quantity", "before", "now", "words"), SWAPS)
def test_a_swapped_unit_is_asked_about(quantity: Quantity, before: float, now: float, words: str) -> None:
    """25.1 degC is 77.2 degF and 298.25 K; 8 mg/L at 25 degC is 96.8 % (8.263 mg/L, USGS TM 2011.03) and 250 umol/L."""
    found = looks_swapped(quantity, before, now)
    assert found.startswith(words)
    assert (found == "") == (words == "")


def test_a_swap_is_told_with_the_reading() -> None:
    """With a failed range and with a jump alike; never good."""
    hot = final(walk([25.1, 25.1, 77.2]))[2]
    assert hot == (
        Flag.FAIL,
        "77.2 °C is beyond what a probe can read (-5 to 60); 77.2 as °F is 25.1 °C: has the probe changed its unit?",
    )
    limits = CheckLimits(fail_low=-6, fail_high=500, gap_s=300, rate_suspect_per_h=720, noise=4)
    flag, reason = final(walk([96.8, 97.0, 8.0], limits, quantity=Quantity.OXYGEN_SATURATION))[2]
    assert flag is Flag.SUSPECT
    assert reason.endswith("8 as mg/L could be 97 % of air saturation: has the probe changed its unit?")


def test_what_was_held_against_it_before_stays() -> None:
    """The base flag is one among the tests; the worst wins and brings its words."""
    stream = Stream(LIMITS, Quantity.TEMPERATURE)
    stream.step(START_MS, 25.0)
    assert stream.step(START_MS + 60_000, None, Flag.FAIL, "unit unknown")[:2] == (Flag.FAIL, "unit unknown")
    step = stream.step(START_MS + 120_000, 25.0, Flag.SUSPECT, "from a suspect temperature")
    assert step[:2] == (Flag.SUSPECT, "from a suspect temperature")
    assert stream.step(START_MS + 180_000, 25.0).revised is None
