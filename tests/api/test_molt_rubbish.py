"""Records that cannot be meant: nothing fails, nothing is lost but what is said, and chances stay chances."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from api.domain.animal import Animal, Sex
from api.domain.husbandry import EventKind, Husbandry, PremoltSign
from api.domain.life import Life, life_of
from api.molt.clusters import clusters, day_counts
from api.molt.outlook import MoltOutlook, room_outlook
from api.molt.warmth import Warmth
from tests.trials.molt_plain import DAY_MS, HOUR_MS, START_MS, at, crayfish, steady

K = EventKind
KINDS = (K.MOLT, K.EXUVIA, K.MOVED, K.MEASURED, K.PREMOLT, K.EGGS_SEEN, K.HATCHED, K.YOUNG_OFF, K.EGGS_LOST, K.DIED)
SPECIES = ("Procambarus clarkii", "Pacifastacus leniusculus", "", "no such species", "Cherax quadricarinatus")
START = datetime.fromtimestamp(START_MS / 1000, UTC).date()


def event(kind: EventKind, time_ms: int, animal: int, rng: np.random.Generator) -> Husbandry:
    """One entry with whatever belongs to its kind, of any size."""
    if kind is K.EXUVIA:
        return Husbandry(kind, time_ms, animal=animal, since_ms=time_ms - int(rng.integers(0, 30 * DAY_MS)))
    if kind is K.MOVED:
        return Husbandry(kind, time_ms, animal=animal, tank=str(rng.choice(["A", "B", "C", "nowhere"])))
    if kind is K.PREMOLT:
        sign = list(PremoltSign)[int(rng.integers(len(PremoltSign)))]
        return Husbandry(kind, time_ms, animal=animal, signs=(sign,))
    mm = float(rng.choice([2.0, 20.0, 200.0])) if kind in (K.MOLT, K.MEASURED) else None
    return Husbandry(kind, time_ms, animal=animal, carapace_mm=mm)


def anything(number: int, rng: np.random.Generator) -> Life:
    """An animal with entries in any order: molts after its death or before it hatched, eggs of males, no tank."""
    kinds = [KINDS[int(one)] for one in rng.integers(len(KINDS), size=int(rng.integers(0, 14)))]
    days = [
        float(rng.choice([rng.uniform(-50.0, 300.0), rng.uniform(0.0, 3.0), float(rng.integers(0, 200))]))
        for _ in kinds
    ]
    events = [event(kind, at(day), number, rng) for kind, day in zip(kinds, days, strict=True)]
    events.sort(key=lambda one: one.time_ms)
    hatched = None if rng.random() < 0.6 else START + timedelta(days=int(rng.integers(-400, 200)))
    sex = (Sex.MALE, Sex.FEMALE, Sex.UNKNOWN)[number % 3]
    return life_of(number, Animal(f"a{number}", str(rng.choice(SPECIES)), sex, hatched=hatched), events)


@pytest.mark.parametrize("seed", range(24))
def test_anything(seed: int) -> None:
    """Chances between 0 and 1 that grow with the days, windows in order, for every living animal."""
    rng = np.random.default_rng(seed)
    lives = [anything(number, rng) for number in range(int(rng.integers(1, 9)))]
    hours = np.sort(rng.choice(np.arange(200 * 24), int(rng.integers(0, 900)), replace=False)) * HOUR_MS + at(0.0)
    odd = Warmth.of_hours(hours, rng.uniform(-5.0, 60.0, hours.size))
    now_ms = at(float(rng.uniform(-10.0, 260.0)))
    looked = {one.id: now_ms - int(rng.integers(-DAY_MS, 20 * DAY_MS)) for one in lives if rng.random() < 0.5}
    room = room_outlook(lives, {"A": steady(20.0, 200.0), "B": odd, "C": Warmth()}, now_ms, looked_ms=looked)
    assert {one.animal for one in room.outlooks} == {one.id for one in lives if one.alive}
    assert np.isfinite(room.curves).all()
    assert (np.diff(room.curves, axis=2) >= -1e-9).all()
    for one in room.outlooks:
        _in_order(one)
    clusters(room)
    assert all(0 <= day.low <= day.high <= len(room.outlooks) for day in day_counts(room))


def _in_order(one: MoltOutlook) -> None:
    chances = [0.0, one.already, one.within_3d, one.within_7d, one.within_14d, 1.0]
    assert chances == sorted(chances)
    ends = [one.window_80[0], one.window_50[0], one.middle_ms, one.window_50[1], one.window_80[1]]
    told = [end for end in ends if end is not None]
    assert told == sorted(told) == ends[: len(told)]
    assert 0.0 <= one.basis.known_share <= 1.0
    assert one.typical_degree_days > 0.0


def said(life: Life) -> str:
    """The warnings of an animal on day 60."""
    return " | ".join(room_outlook([life], {"A": steady(20.0, 60.0)}, at(60.0)).outlooks[0].warnings)


def test_what_cannot_be_meant_is_said() -> None:
    """A molt before hatching, two in a day, one in the future, a species nobody knows; the rest still counts."""
    hatched = START + timedelta(days=10)
    assert "before it hatched is left out" in said(crayfish(1, [5.0, 40.0], hatched=hatched))
    assert "two molts within a day are taken for one" in said(crayfish(1, [20.0, 20.4, 40.0]))
    assert "in the future is left out" in said(crayfish(1, [40.0, 70.0]))
    assert "no figures for the species 'no such'" in said(crayfish(1, [40.0], species="no such"))
    assert "in no tank we know of" in said(life_of(1, Animal("a", "Procambarus clarkii"), []))
    assert "never measured" in said(crayfish(1, [40.0], mm=None))
    room = room_outlook([crayfish(1, [20.0, 20.4, 40.0, 70.0])], {"A": steady(20.0, 60.0)}, at(60.0))
    assert room.outlooks[0].basis.own_molts == 2


@pytest.mark.parametrize("species", ["Pacifastacus leniusculus", "Procambarus clarkii"])
def test_an_animal_of_this_moment(species: str) -> None:
    """It arrived as it is asked for: nothing has run yet, and the room is still told."""
    lives = [crayfish(1, species=species, arrived_d=60.0), crayfish(2, [40.0], species=species)]
    room = room_outlook(lives, {"A": steady(20.0, 60.0)}, at(60.0))
    assert [one.basis.days for one in room.outlooks] == pytest.approx([0.0, 20.0])


def test_a_shrinking_carapace_counts_as_measured() -> None:
    """Allowed: the clock goes by what was measured last."""
    more = [Husbandry(K.MEASURED, at(41.0), animal=1, carapace_mm=14.0)]
    shrunk, grown = crayfish(1, [40.0], mm=16.0, more=more), crayfish(1, [40.0], mm=16.0)
    told = [room_outlook([one], {"A": steady(20.0, 60.0)}, at(60.0)).outlooks[0] for one in (shrunk, grown)]
    assert told[0].typical_degree_days < told[1].typical_degree_days
