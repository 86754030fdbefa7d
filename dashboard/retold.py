"""The service's own sentences in the keeper's unit: "31.0 °C" becomes "87.8 °F" where that was chosen.

Must not do: touch what a person wrote, or a number whose unit is not the alert's own.
"""

from __future__ import annotations

import re

from api.domain.quantity import MEANING, Quantity
from dashboard.units import Units, lens

RATE = " per hour"


def retold(text: str, quantity: Quantity | None, units: Units, most_oxygen_mg_l: float | None) -> str:
    """The sentence with every amount of this quantity shown in the chosen unit."""
    if quantity is None:
        return text
    written, seen = MEANING[quantity].unit_label, lens(quantity, units, most_oxygen_mg_l)
    if not written or seen.unit == written:
        return text
    # said a second time, air saturation is a bare percent; "80 %:" is an interval
    units_said = f"{re.escape(written)}(?!\\w)" + (r"|%(?![\w:])" if quantity is Quantity.OXYGEN_SATURATION else "")
    amount = re.compile(rf"(?<![\w.])([-\N{{MINUS SIGN}}]?\d+(?:\.\d+)?) (?:{units_said})({RATE})?")

    def again(found: re.Match[str]) -> str:
        value = float(found[1].replace("\N{MINUS SIGN}", "-"))
        return seen.per_hour(value) if found[2] else seen.text(value)

    return amount.sub(again, text)
