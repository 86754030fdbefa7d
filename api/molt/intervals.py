"""Every interval of every animal as rows of numbers: how long it took in degree-days, and what may have made it so.

Kinds: between two molts; from arrival to the first molt; since the last molt; since arrival. Must not do: learn.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from api.domain.animal import Sex
from api.molt.clock import DAY_MS
from api.molt.past import GUESS_SD, Past
from api.molt.spans import Ran, Spans
from api.molt.species import REFERENCE_MM, SIZE_EXPONENT
from api.molt.warmth import Warmth
from api.science.arrays import Floats

MATURE_MALE, MATURE_FEMALE = 0.7, 1.2
"""How much longer the logarithm of an interval is once mature. Judgement: one molt a year in signal crayfish over 45 to
55 mm (guan_wiles_1999), two a year in female red claw that breed (cabi_redclaw_1998)."""
EFFECTS = ("species", "size", "mature male", "mature female", "warmth")
PRIOR_SD = (0.0, 0.15, 0.4, 0.4, 0.2)
"""How far each effect may be off what is stated: the species' own spread, the exponent of size, the two of maturity,
and the logarithm of warmth (a thermal zero that is off by 3 Cel bends it by about 0.3). Judgement."""
LEAST = 1.0
"""Degree-days that any interval took: below, a thermal zero is wrong and its logarithm says nothing."""


class Kind(IntEnum):
    """What is known of an interval's ends."""

    WHOLE = 0
    FROM_ARRIVAL = 1
    SINCE_MOLT = 2
    SINCE_ARRIVAL = 3


@dataclass(frozen=True, slots=True)
class Intervals:
    """Rows. ``offset`` is what ln K is taken to be before anything is learned; ``x`` are the effects in EFFECTS' order.

    ``end_variance`` is that of the degree-days from not knowing the ends to the hour and from gaps.
    """

    animal: NDArray[np.intp]
    kind: NDArray[np.intp]
    ran: Ran
    offset: Floats
    x: Floats
    mature: Floats
    end_variance: Floats
    size_sd: Floats

    def of(self, rows: NDArray[np.bool_]) -> Intervals:
        """Some of the rows."""
        ran = Ran(
            *(getattr(self.ran, name)[rows] for name in ("degree_days", "thermal", "variance", "days", "known_d"))
        )
        return Intervals(
            self.animal[rows], self.kind[rows], ran, self.offset[rows], self.x[rows], self.mature[rows],
            self.end_variance[rows], self.size_sd[rows],
        )  # fmt: skip


def intervals_of(pasts: Sequence[Past], water: Mapping[str, Warmth], north: bool = True) -> Intervals:
    """All intervals of all animals; each animal's last row is the one it is in now."""
    spans = Spans(water, north)
    rows: list[tuple[int, Kind, float, float]] = []
    features: list[tuple[float, ...]] = []
    for number, past in enumerate(pasts):
        points = [(past.since_ms, past.since_ms)] + [(one.first_ms, one.last_ms) for one in past.moments]
        points.append((past.looked_ms, past.looked_ms))
        last = len(points) - 2
        for span in range(last + 1):
            (a0, a1), (b0, b1) = points[span], points[span + 1]
            start_ms, end_ms = (a0 + a1) // 2, max((a0 + a1) // 2, (b0 + b1) // 2)
            if span == 0 and last > 0 and end_ms <= start_ms:
                continue
            mature = past.mature(span)
            spans.ask(past, start_ms, end_ms, mature)
            now = span == last
            kind = (Kind.SINCE_ARRIVAL if now else Kind.FROM_ARRIVAL) if span == 0 else Kind(2 * now)
            width_d2 = ((a1 - a0) ** 2 + (b1 - b0) ** 2) / DAY_MS**2 / 12.0
            rows.append((number, kind, mature, width_d2))
            features.append(_features(past, span, mature))
    ran = spans.answer()
    table = np.array(rows, np.float64).reshape(-1, 4)
    known = np.array(features, np.float64).reshape(-1, 7)
    rate = np.where(ran.days > 0.1, ran.thermal / np.maximum(ran.days, 0.1), known[:, 5])
    x = np.column_stack((np.ones(len(rows)), known[:, 1:4], warmth_effect(rate, known[:, 5])))
    return Intervals(
        animal=table[:, 0].astype(np.intp),
        kind=table[:, 1].astype(np.intp),
        ran=ran,
        offset=known[:, 0],
        x=x,
        mature=table[:, 2],
        end_variance=table[:, 3] * rate**2 + ran.variance,
        size_sd=known[:, 6],
    )


def warmth_effect(rate: Floats, usual_rate: Floats) -> Floats:
    """Logarithm of how fast the clock ran beside its species' usual water, within bounds."""
    return np.clip(np.log(np.maximum(rate, 1e-3) / usual_rate), -1.0, 1.0)


def _features(past: Past, span: int, mature: float) -> tuple[float, ...]:
    """What ln K is taken to be, the effects but warmth, the usual rate, and what is not known of size."""
    species, sex = past.species, past.life.animal.sex
    male = {Sex.MALE: 1.0, Sex.FEMALE: 0.0, Sex.UNKNOWN: 0.5}[sex] * mature
    female = mature - male
    ln_mm = past.ln_mm[span]
    offset = species.pace.value + SIZE_EXPONENT * ln_mm + MATURE_MALE * male + MATURE_FEMALE * female
    usual = max(1.0, min(species.usual_c, species.cap.value) - species.zero.value)
    size_sd = past.ln_mm_sd[span]
    return (offset, ln_mm - float(np.log(REFERENCE_MM)), male, female, 0.0, usual, min(size_sd, GUESS_SD))
