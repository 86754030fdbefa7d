"""What a sensor can give at all, and what water of a tank can have: the spans of QARTOD test 4. Data with a reason.

Must not do: check.
"""

from __future__ import annotations

from api.domain.checks import CheckLimits
from api.domain.quantity import Quantity

SPANS: dict[Quantity, CheckLimits] = {  # judgement, from what the probes of the trade can read
    Quantity.TEMPERATURE: CheckLimits(-5.0, 60.0, 0.5, 45.0),
    # Below zero within a probe's zero error: in water without oxygen it must stay a low reading, not become an unknown.
    Quantity.OXYGEN: CheckLimits(-0.5, 50.0, -0.1, 20.0),
    Quantity.OXYGEN_SATURATION: CheckLimits(-6.0, 500.0, -1.2, 200.0),
    Quantity.PH: CheckLimits(0.0, 14.0, 4.0, 10.5),
    Quantity.CONDUCTIVITY: CheckLimits(0.0, 100000.0, 5.0, 60000.0),
    Quantity.PRESSURE: CheckLimits(30.0, 115.0, 50.0, 110.0),
}
