"""Quality checks of a reading by itself: QARTOD gross range (test 4). Pure: a value in, a flag and a reason out.

Must not do: pass what it could not check; a quantity without a span is NOT_EVALUATED.
"""

from __future__ import annotations

from dataclasses import dataclass

from api.domain.quantity import MEANING, Quantity
from api.domain.reading import Flag


@dataclass(frozen=True, slots=True)
class Span:
    """Values a sensor can give at all (outside: FAIL), and values water of a tank can have (outside: SUSPECT)."""

    fail_low: float
    fail_high: float
    suspect_low: float
    suspect_high: float


SPANS: dict[Quantity, Span] = {  # judgement, from what the probes of the trade can read
    Quantity.TEMPERATURE: Span(-5.0, 60.0, 0.5, 45.0),
    Quantity.OXYGEN: Span(0.0, 50.0, 0.0, 20.0),
    Quantity.OXYGEN_SATURATION: Span(0.0, 500.0, 0.0, 200.0),
    Quantity.PH: Span(0.0, 14.0, 4.0, 10.5),
    Quantity.CONDUCTIVITY: Span(0.0, 100000.0, 5.0, 60000.0),
    Quantity.PRESSURE: Span(30.0, 115.0, 50.0, 110.0),
}
GOOD = (Flag.GOOD, "")


def gross_range(quantity: Quantity, value: float) -> tuple[Flag, str]:
    """Flag of one value in its canonical unit; bounds belong inside. Source: QARTOD test 4."""
    span = SPANS.get(quantity)
    if span is None:
        return Flag.NOT_EVALUATED, f"no span is known for {MEANING[quantity].label}"
    if span.suspect_low <= value <= span.suspect_high:
        return GOOD
    unit = MEANING[quantity].unit_label
    if not span.fail_low <= value <= span.fail_high:
        return Flag.FAIL, f"{value:g} {unit} is beyond what a probe can read ({span.fail_low:g} to {span.fail_high:g})"
    return (
        Flag.SUSPECT,
        f"{value:g} {unit} is unlikely in a tank (usual: {span.suspect_low:g} to {span.suspect_high:g})",
    )
