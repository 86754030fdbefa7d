"""Every interval of every animal as rows of numbers: how long it took in degree-days, and what may have made it so.

Kinds: between two molts; from arrival to the first molt; since the last molt; since arrival. Must not do: learn.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from math import log

import numpy as np
from numpy.typing import NDArray

from api.domain.animal import Sex
from api.molt.clock import DAY_MS
from api.molt.past import Past
from api.molt.spans import WINTER_RATE, Ran, Spans
from api.molt.species import REFERENCE_MM, SIZE_EXPONENT
from api.molt.warmth import Warmth
from api.science.arrays import Floats

MATURE_MALE, MATURE_FEMALE = 0.7, 1.2
"""How much longer the logarithm of an interval is once mature. Judgement: one molt a year in signal crayfish over 45 to
55 mm (guan_wiles_1999), two a year in female red claw that breed (cabi_redclaw_1998)."""
EFFECTS = ("species", "size", "mature male", "mature female", "warmth", "winter")
PRIOR_SD = (0.0, 0.15, 0.4, 0.4, 0.2, 0.15)
"""How far each effect may be off what is stated: the species' own spread, the exponent of size, the two of maturity,
the logarithm of warmth (a thermal zero that is off by 3 Cel bends it by about 0.3), the winter rate. Judgement."""
MALE = {Sex.MALE: 1.0, Sex.FEMALE: 0.0, Sex.UNKNOWN: 0.5}
LN_REFERENCE = log(REFERENCE_MM)
LEAST = 1.0
"""Degree-days that any interval took: below, a thermal zero is wrong and its logarithm says nothing."""


class Kind(IntEnum):
    """What is known of an interval's ends."""

    WHOLE = 0
    FROM_ARRIVAL = 1
    SINCE_MOLT = 2
    SINCE_ARRIVAL = 3


KINDS = ((Kind.WHOLE, Kind.SINCE_MOLT), (Kind.FROM_ARRIVAL, Kind.SINCE_ARRIVAL))
"""By whether the interval is an animal's first on record, and whether it is in it now."""


@dataclass(frozen=True, slots=True)
class Intervals:
    """Rows, by animal and time.

    ``ran.thermal`` counts for an animal that is not mature, ``ran.degree_days``, slowed in winter, for one that is.
    ``base``: what ln K of an immature animal is taken to be before anything is learned; ``size``: ln of its length
    beside REFERENCE_MM; ``beyond``: ln of it beside the species' length at maturity; ``male``: 1, 0, or one half
    where the sex is not known; ``end_variance``: of the degree-days, from ends not known to the hour and from gaps.
    """

    animal: NDArray[np.intp]
    kind: NDArray[np.intp]
    ran: Ran
    base: Floats
    size: Floats
    beyond: Floats
    male: Floats
    usual_rate: Floats
    warmth: Floats
    end_variance: Floats
    size_sd: Floats

    def of(self, rows: NDArray[np.bool_]) -> Intervals:
        """Some of the rows."""
        ran = Ran(*(getattr(self.ran, name)[rows] for name in Ran.__slots__))
        columns = {name: getattr(self, name)[rows] for name in self.__slots__ if name != "ran"}
        return Intervals(ran=ran, **columns)


@dataclass(frozen=True, slots=True)
class AsState:
    """Rows taken for those of immature (0) or mature (1) animals: ln of the degree-days run beside what is stated for
    the state, and the effects in the order of EFFECTS."""

    y: Floats
    x: Floats
    stated: Floats


def intervals_of(pasts: Sequence[Past], water: Mapping[str, Warmth], north: bool = True) -> Intervals:
    """All intervals of all animals; each animal's last row is the one it is in now."""
    spans = Spans(water, north)
    rows: list[tuple[float, ...]] = []
    for number, past in enumerate(pasts):
        points = [(past.since_ms, past.since_ms)] + [(one.first_ms, one.last_ms) for one in past.moments]
        points.append((past.looked_ms, past.looked_ms))
        last, stated = len(points) - 2, _stated(past)
        for span in range(last + 1):
            (a0, a1), (b0, b1) = points[span], points[span + 1]
            start_ms, end_ms = (a0 + a1) // 2, max((a0 + a1) // 2, (b0 + b1) // 2)
            if span == 0 and last > 0 and end_ms <= start_ms:
                continue
            spans.ask(past, start_ms, end_ms)
            now = span == last
            kind = KINDS[span == 0][now]
            width_d2 = ((a1 - a0) ** 2 + (b1 - b0) ** 2) / DAY_MS**2 / 12.0
            rows.append((number, kind, width_d2, *_features(past, span, stated)))
    ran = spans.answer()
    table = np.array(rows, np.float64).reshape(-1, 9)
    usual_rate = table[:, 7]
    rate = np.where(ran.days > 0.1, ran.thermal / np.maximum(ran.days, 0.1), usual_rate)
    return Intervals(
        animal=table[:, 0].astype(np.intp),
        kind=table[:, 1].astype(np.intp),
        ran=ran,
        base=table[:, 3],
        size=table[:, 4],
        beyond=table[:, 5],
        male=table[:, 6],
        usual_rate=usual_rate,
        warmth=warmth_effect(rate, usual_rate),
        end_variance=table[:, 2] * rate**2 + ran.variance,
        size_sd=table[:, 8],
    )


def warmth_effect(rate: Floats, usual_rate: Floats) -> Floats:
    """Logarithm of how fast the clock ran beside its species' usual water, within bounds."""
    return np.clip(np.log(np.maximum(rate, 1e-3) / usual_rate), -1.0, 1.0)


def as_state(rows: Intervals, mature: int) -> AsState:
    """The rows as those of immature or mature animals."""
    ran = np.maximum(rows.ran.degree_days if mature else rows.ran.thermal, LEAST)
    stated = rows.base + mature * (MATURE_MALE * rows.male + MATURE_FEMALE * (1.0 - rows.male))
    # with a winter rate higher by w, the clock ran w times the winter's degree-days more
    winter = (rows.ran.thermal - rows.ran.degree_days) / (1.0 - WINTER_RATE)
    one = np.ones(ran.size)
    columns = (one, rows.size, mature * rows.male, mature * (1.0 - rows.male), rows.warmth,
               -mature * np.minimum(winter / ran, 3.0))  # fmt: skip
    return AsState(np.log(ran) - stated, np.column_stack(columns), stated)


def _features(past: Past, span: int, stated: tuple[float, float, float, float]) -> tuple[float, ...]:
    """Base, size, size beside maturity, sex, usual rate, and what is not known of the size."""
    pace, ln_mature, male, usual = stated
    ln_mm = past.ln_mm[span]
    base = pace + SIZE_EXPONENT * ln_mm
    return (base, ln_mm - LN_REFERENCE, ln_mm - ln_mature, male, usual, past.ln_mm_sd[span])


def _stated(past: Past) -> tuple[float, float, float, float]:
    """What is stated for an animal: its species' pace and ln of length at maturity, its sex, its usual rate."""
    species = past.species
    usual = max(1.0, min(species.usual_c, species.cap.value) - species.zero.value)
    return species.pace.value, log(species.mature.value), MALE[past.life.animal.sex], usual
