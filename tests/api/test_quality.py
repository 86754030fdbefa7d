"""Gross range (QARTOD test 4): bounds belong inside, the reason names value and bounds, unchecked is never good."""

from __future__ import annotations

import pytest

from api.domain.checks import CheckLimits
from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.judge.check_words import Findings, gross_of, tell
from api.judge.quality import SPANS
from api.services.derive import worst


@pytest.mark.parametrize(
    ("quantity", "value", "flag"),
    [
        (Quantity.TEMPERATURE, 25.0, Flag.GOOD),
        (Quantity.TEMPERATURE, 45.0, Flag.GOOD),
        (Quantity.TEMPERATURE, 45.1, Flag.SUSPECT),
        (Quantity.TEMPERATURE, 60.0, Flag.SUSPECT),
        (Quantity.TEMPERATURE, 60.1, Flag.FAIL),
        (Quantity.TEMPERATURE, -127.0, Flag.FAIL),
        (Quantity.TEMPERATURE, 85.0, Flag.FAIL),
        (Quantity.OXYGEN, 0.0, Flag.GOOD),
        (Quantity.OXYGEN, -0.05, Flag.GOOD),
        (Quantity.OXYGEN, -0.2, Flag.SUSPECT),
        (Quantity.OXYGEN, -0.51, Flag.FAIL),
        (Quantity.OXYGEN_SATURATION, 201.0, Flag.SUSPECT),
        (Quantity.NITRITE, 0.1, Flag.NOT_EVALUATED),
        (Quantity.NITRITE, -5.0, Flag.NOT_EVALUATED),
    ],
)
def test_flag_of_a_value(quantity: Quantity, value: float, flag: Flag) -> None:
    """-127 and 85 C are what a common digital thermometer says when it has nothing to say."""
    limits = SPANS.get(quantity, CheckLimits())
    found, reason = tell(limits, quantity, Findings(0, value, gross=gross_of(limits, value)))
    assert found is flag
    assert (reason == "") is (flag is Flag.GOOD)


def test_spans_have_both_ends() -> None:
    """That they nest is seen to by the limits themselves."""
    for span in SPANS.values():
        assert set(span.given()) >= {"fail_low", "suspect_low", "suspect_high", "fail_high"}


def test_the_worse_flag_wins() -> None:
    """ "Not evaluated" never turns into good."""
    assert worst(Flag.GOOD, Flag.NOT_EVALUATED) is Flag.NOT_EVALUATED
    assert worst(Flag.FAIL, Flag.SUSPECT) is Flag.FAIL
