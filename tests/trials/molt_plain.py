"""Plain made-up animals and water for tests of the molt clock: one temperature, molts at given days.

Must not do: know what the clock should say.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime

import numpy as np

from api.domain.animal import Animal, Sex
from api.domain.husbandry import EventKind, Husbandry, PremoltSign
from api.domain.life import Life, life_of
from api.molt.warmth import Warmth

DAY_MS, HOUR_MS = 86_400_000, 3_600_000
START_MS = round(datetime(2024, 3, 1, tzinfo=UTC).timestamp() * 1000)


def at(day: float) -> int:
    """A day of the made-up room in ms."""
    return START_MS + round(day * DAY_MS)


def steady(temperature_c: float, days: float, first_d: float = 0.0) -> Warmth:
    """Water of one temperature, as means of an hour."""
    start = np.arange(round((days - first_d) * 24), dtype=np.int64) * HOUR_MS + at(first_d)
    return Warmth.of_hours(start, np.full(start.size, temperature_c))


def crayfish(
    number: int,
    molts_d: Sequence[float] = (),
    *,
    species: str = "Procambarus clarkii",
    tank: str = "A",
    mm: float | None = 15.0,
    gain: float = 0.0,
    sex: Sex = Sex.UNKNOWN,
    arrived_d: float = 0.0,
    signs: Sequence[tuple[float, PremoltSign]] = (),
    more: Sequence[Husbandry] = (),
    hatched: date | None = None,
) -> Life:
    """An animal whose molts were seen, measured on arrival and, if it gains, after each of them."""
    events = [Husbandry(EventKind.MOVED, at(arrived_d), tank=tank, animal=number)]
    if mm is not None:
        events.append(Husbandry(EventKind.MEASURED, at(arrived_d), animal=number, carapace_mm=mm))
    for place, day in enumerate(molts_d, 1):
        size = mm * (1.0 + gain) ** place if mm is not None and gain else None
        events.append(Husbandry(EventKind.MOLT, at(day), tank=tank, animal=number, carapace_mm=size))
    events += [Husbandry(EventKind.PREMOLT, at(day), animal=number, signs=(sign,)) for day, sign in signs]
    events += more
    events.sort(key=lambda one: one.time_ms)
    return life_of(number, Animal(f"a{number}", species, sex, hatched=hatched), events)
