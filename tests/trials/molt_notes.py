"""Single lines of an invented keeper's notes: signs of a molt, measurements, days as times.

Must not do: know the truth of a colony.
"""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from api.domain.husbandry import EventKind, Husbandry, PremoltSign

DAY_MS = 86_400_000
START_MS = round(datetime(2021, 1, 1, tzinfo=UTC).timestamp() * 1000)


def signs(number: int, molt_d: float, rng: np.random.Generator) -> list[Husbandry]:
    """Signs seen in the days before a molt."""
    out = []
    if rng.random() < 0.6:
        out.append(sign(number, molt_d - float(rng.uniform(1.0, 4.0)), PremoltSign.STOPPED_FEEDING))
    if rng.random() < 0.4:
        out.append(sign(number, molt_d - float(rng.uniform(1.0, 9.0)), PremoltSign.DULL_SHELL))
    if rng.random() < 0.2:
        out.append(sign(number, molt_d - float(rng.uniform(0.1, 1.2)), PremoltSign.SEAM_GAP))
    return [one for one in out if one.time_ms > START_MS]


def sign(number: int, day: float, sign: PremoltSign) -> Husbandry:
    """One sign seen on a day."""
    return Husbandry(EventKind.PREMOLT, ms(day), animal=number, signs=(sign,))


def measured(number: int, day: float, length: float, rng: np.random.Generator) -> Husbandry:
    """A length as it is measured, with its error. [mm]"""
    mm = min(249.0, max(1.0, length * float(np.exp(rng.normal(0.0, 0.02)))))
    return Husbandry(EventKind.MEASURED, ms(day), animal=number, carapace_mm=mm)


def ms(day: float) -> int:
    """The time of a day of the colony. [d -> ms]"""
    return START_MS + round(day * DAY_MS)
