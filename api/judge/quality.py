"""What a sensor can give at all, what water of a tank can have; the check of one value by itself (QARTOD test 4).

Must not do: pass what it could not check; a quantity without a span is NOT_EVALUATED.
"""

from __future__ import annotations

from api.domain.checks import CheckLimits
from api.domain.quantity import Quantity
from api.domain.reading import Flag
from api.judge.check_words import Findings, gross_of, tell

SPANS: dict[Quantity, CheckLimits] = {  # judgement, from what the probes of the trade can read
    Quantity.TEMPERATURE: CheckLimits(-5.0, 60.0, 0.5, 45.0),
    # Below zero within a probe's zero error: in water without oxygen it must stay a low reading, not become an unknown.
    Quantity.OXYGEN: CheckLimits(-0.5, 50.0, -0.1, 20.0),
    Quantity.OXYGEN_SATURATION: CheckLimits(-6.0, 500.0, -1.2, 200.0),
    Quantity.PH: CheckLimits(0.0, 14.0, 4.0, 10.5),
    Quantity.CONDUCTIVITY: CheckLimits(0.0, 100000.0, 5.0, 60000.0),
    Quantity.PRESSURE: CheckLimits(30.0, 115.0, 50.0, 110.0),
}
_NONE = CheckLimits()


def gross_range(quantity: Quantity, value: float) -> tuple[Flag, str]:
    """Flag of one value in its canonical unit, and why; bounds belong inside."""
    limits = SPANS.get(quantity, _NONE)
    return tell(limits, quantity, Findings(0, value, gross=gross_of(limits, value)))
