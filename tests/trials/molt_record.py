"""What keepers write down of an animal: they look every few days, miss molts, measure some animals and see some signs.

Must not do: write down more than they saw.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from api.domain.animal import Animal, Sex
from api.domain.husbandry import EventKind, Husbandry, PremoltSign
from api.domain.life import Life, life_of
from tests.trials.molt_notes import DAY_MS, START_MS, measured, ms, sign, signs
from tests.trials.molt_truth import Floats, Truth


@dataclass(slots=True)
class Crayfish:
    """One animal: when it really molted (days from the start), and what its keeper wrote down."""

    animal: Animal
    number: int
    tank: str
    arrived_d: float
    molts_d: Floats
    lengths_mm: Floats
    seen: NDArray[np.bool_]
    looks_d: Floats
    events: list[Husbandry]

    def life(self, now_ms: int) -> Life:
        """What is written down by a time."""
        return life_of(self.number, self.animal, [one for one in self.events if one.time_ms <= now_ms])

    def looked_ms(self, now_ms: int) -> int:
        """The last look before a time."""
        looks = self.looks_d[self.looks_d <= (now_ms - START_MS) / DAY_MS]
        return START_MS + round(float(looks[-1]) * DAY_MS) if looks.size else now_ms


def written(
    truth: Truth, number: int, tank: str, sex: Sex, arrived_d: float, molts: Floats, lengths: Floats,
    hold: tuple[float, float] | None, watched_d: float, rng: np.random.Generator,
) -> Crayfish:  # fmt: skip
    """What the keeper wrote: molts found at the next look or never, lengths of some animals, signs of some."""
    name = truth.name
    told = sex if rng.random() < 0.6 else Sex.UNKNOWN
    looks = arrived_d + np.cumsum(rng.uniform(0.7, 1.3, round(2000 / truth.look_d)) * truth.look_d)
    seen = rng.random(molts.size) >= truth.missed
    measures, watches = rng.random() > 0.05, rng.random() < 0.3
    events = [Husbandry(EventKind.MOVED, ms(arrived_d), tank=tank, animal=number)]
    if measures:
        events.append(measured(number, arrived_d + 0.01, lengths[0], rng))
    for at, (molt, found) in enumerate(zip(molts, seen, strict=True)):
        if molt > watched_d + 1:
            break
        place = int(np.searchsorted(looks, molt))
        look, before = float(looks[place]), float(looks[place - 1]) if place else arrived_d
        if found:
            events.append(Husbandry(EventKind.EXUVIA, ms(look), tank=tank, animal=number, since_ms=ms(before)))
            if measures and rng.random() < 0.6:
                events.append(measured(number, look + 1.5, lengths[at + 1], rng))
        if watches:
            events += signs(number, molt, rng)
    if watches:
        for day in rng.uniform(arrived_d, watched_d, rng.poisson((watched_d - arrived_d) * 0.004)):
            events.append(sign(number, float(day), PremoltSign.STOPPED_FEEDING))
    if hold is not None and lengths[np.searchsorted(molts, hold[0])] > truth.mature_mm and hold[0] > arrived_d:
        events.append(Husbandry(EventKind.EGGS_SEEN, ms(hold[0] + 1), animal=number))
        events.append(Husbandry(EventKind.HATCHED, ms(hold[0] + 0.8 * (hold[1] - hold[0])), animal=number))
        events.append(Husbandry(EventKind.YOUNG_OFF, ms(hold[1]), animal=number))
    events.sort(key=lambda one: one.time_ms)
    animal = Animal(f"a{number}", name, told)
    return Crayfish(animal, number, tank, arrived_d, molts, lengths, seen, looks, events)
