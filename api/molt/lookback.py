"""Looking back: each interval an animal has been through, how long it took in days and degree-days, and what it gained.

Must not do: judge the water; that is put beside it by whoever asks.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import exp

from api.domain.life import Life
from api.molt.increment import Grown
from api.molt.intervals import Kind, intervals_of
from api.molt.past import MEASURED_SD, Past, past_of
from api.molt.warmth import Warmth


@dataclass(frozen=True, slots=True)
class PastInterval:
    """One interval between two molts, or the one since the last: ``to_ms`` is now for that, and ``ended`` false.

    ``degree_days``: of the species' molt clock, over the tanks the animal sat in, holds taken out; ``mean_c`` the
    temperature that would have given them (None: not known, or below the clock's zero all the time). ``known_share``
    of the days has a temperature on record. Lengths only where measured.
    """

    animal: int
    from_ms: int
    to_ms: int
    ended: bool
    days: float
    degree_days: float
    mean_c: float | None
    known_share: float
    before_mm: float | None
    after_mm: float | None


def past_intervals(
    lives: Iterable[Life], water: Mapping[str, Warmth], now_ms: int, north: bool = True
) -> tuple[PastInterval, ...]:
    """Intervals that began with a molt, of all animals given, in the order of animals and time."""
    pasts = [past_of(life, now_ms) for life in lives]
    rows = intervals_of(pasts, water, north)
    seen = [0] * len(pasts)
    out = []
    for at, (number, kind) in enumerate(zip(rows.animal.tolist(), rows.kind.tolist(), strict=True)):
        if kind in (Kind.FROM_ARRIVAL, Kind.SINCE_ARRIVAL):
            continue
        past, span = pasts[number], seen[number] + 1
        seen[number] = span
        days, known = float(rows.ran.days[at]), float(rows.ran.known_d[at])
        thermal = float(rows.ran.thermal[at])
        mean = past.species.zero.value + thermal / days if days > 0.0 and thermal > 0.0 and known > 0.0 else None
        ended = kind == Kind.WHOLE
        start_ms = past.moments[span - 1].middle_ms
        out.append(
            PastInterval(
                past.life.id, start_ms, past.moments[span].middle_ms if ended else past.looked_ms, ended,
                (past.moments[span].middle_ms - start_ms if ended else past.looked_ms - start_ms) / 86_400_000,
                thermal, mean, min(1.0, known / days) if days > 0.0 else 1.0,
                _measured(past, span), _measured(past, span + 1) if ended else None,
            )
        )  # fmt: skip
    return tuple(out)


def grown_of(life: Life, now_ms: int) -> tuple[Grown, ...]:
    """Its molts with a measurement before and after, no other molt between; one that shrank is among them."""
    past = past_of(life, now_ms)
    pairs = [(_measured(past, span), _measured(past, span + 1)) for span in range(len(past.moments))]
    return tuple(Grown(life.id, pre, post) for pre, post in pairs if pre is not None and post is not None)


def _measured(past: Past, span: int) -> float | None:
    return exp(past.ln_mm[span]) if past.ln_mm_sd[span] <= MEASURED_SD else None
