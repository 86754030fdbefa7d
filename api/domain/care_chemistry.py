"""Built-in care ranges of slow water chemistry, the same for every species, each number with its own source.

What harms within days has no danger limit: those would ring at night. Conductivity has no number with a source, and so
no range. Must not do: judge (``api/judge``), or follow pH (``api/judge/ammonia_care.py``).
"""

from __future__ import annotations

from api.domain.care import CareRange
from api.domain.quantity import Quantity

JUDGED = "judgement"
QLD = "red claw, state farming advice (business.qld.gov.au)"
SLOW = "no danger limit: harm takes days"
AMMONIA_PH, AMMONIA_C = 7.6, 26.0
"""Where the ammonia limits hold as they stand: the pH and temperature of the test they come from. [pH, Cel]"""
NH3 = "red claw juveniles bear 0.04 mg/L NH3-N (96 h test at pH 7.6, 26 °C); of that"


def _range(quantity: Quantity, source: str, deadband: float, *numbers: tuple[str, float, str]) -> CareRange:
    limits = {name: value for name, value, _ in numbers}
    own = tuple((name, said) for name, _, said in numbers)
    delays = ("deadband", "on_delay_s", "danger_on_delay_s", "off_delay_s")
    sources = (*own, *((name, JUDGED) for name in delays))
    return CareRange(quantity, **limits, deadband=deadband, source=source, sources=sources)


CHEMISTRY = (
    _range(
        Quantity.PH, SLOW, 0.1,
        ("target_low", 7.0, f"pH 7 to 8.5: {QLD}"),
        ("target_high", 8.5, f"pH 7 to 8.5: {QLD}"),
        ("tolerable_low", 6.5, "pond crayfish, pH 6.5 to 8.5: from memory; EPA's criterion is pH 6.5 to 9"),
        ("tolerable_high", 9.0, "EPA 440/5-86-001, fresh water, pH 6.5 to 9: from memory"),
    ),
    _range(
        Quantity.AMMONIA, f"total, as nitrogen; {SLOW}", 0.1,
        ("target_high", 0.84, f"{NH3} half, 0.02 mg/L, as total at pH 7.6 and 26 °C (Emerson 1975)"),
        ("tolerable_high", 1.8, "safe for red claw juveniles, total, at pH 7.6 and 26 °C (96 h LC50 15.4 mg/L)"),
    ),
    _range(
        Quantity.NITRITE, f"chloride protects, soft water does not; {SLOW}", 0.05,
        ("target_high", 0.3, JUDGED),
        ("tolerable_high", 1.0, "under half of the 2.3 mg/L safe for red claw juveniles (96 h LC50 22.8): judgement"),
    ),
    _range(
        Quantity.NITRATE, "a mark of how long the water was not changed; crayfish bear hundreds: from memory", 5.0,
        ("target_high", 50.0, JUDGED),
    ),
    _range(
        Quantity.HARDNESS, SLOW, 5.0,
        ("target_low", 100.0, "growth and survival of P. clarkii rise with hardness to 200 mg/L (SEAFWA 1969)"),
        ("target_high", 200.0, "growth and survival of P. clarkii rise with hardness to 200 mg/L (SEAFWA 1969)"),
        ("tolerable_low", 50.0, f"below 50 mg/L molting and shell problems: {QLD}"),
    ),
    _range(
        Quantity.ALKALINITY, SLOW, 5.0,
        ("target_low", 50.0, "pond crayfish, 50 to 250 mg/L: from memory"),
        ("target_high", 250.0, "pond crayfish, 50 to 250 mg/L: from memory"),
    ),
    _range(
        Quantity.CALCIUM, SLOW, 2.0,
        ("target_low", 32.0, "calcium hardness 80 to 200 mg/L best for red claw (weak web source), as calcium"),
        ("target_high", 80.0, "calcium hardness 80 to 200 mg/L best for red claw (weak web source), as calcium"),
        ("tolerable_low", 8.0, "calcium hardness 20 to 300 mg/L for red claw (weak web source), as calcium"),
        ("tolerable_high", 120.0, "calcium hardness 20 to 300 mg/L for red claw (weak web source), as calcium"),
    ),
)  # fmt: skip
