"""An alert's life over recorded samples by runs: the same track and events as ``step`` gives sample by sample."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.domain.alert import AlertEvent, AlertKind, Subject
from api.domain.band import Side
from api.domain.care import CareRange
from api.domain.quantity import Quantity
from api.domain.reading import CheckedReading, Flag
from api.judge.alert_cycle import Delays, Track, step
from api.judge.assess import assess
from api.judge.past_cycle import INSIDE, LEVEL_OF, Samples, back_inside, looks, run
from api.judge.samples import sample

CARE = CareRange(Quantity.OXYGEN, 6.0, 8.0, 5.0, 9.0, 3.5, 12.0, 0.25)
CARES = (
    CARE,
    CareRange(Quantity.OXYGEN, tolerable_low=5.0, deadband=0.5),
    CareRange(Quantity.OXYGEN, danger_high=9.0),
    CareRange(Quantity.OXYGEN),
)
SUBJECT = Subject("t1", AlertKind.LOW_OXYGEN, "p1", Quantity.OXYGEN, past=True)


def walk(chance: Random, count: int) -> list[float]:
    """Water that stays for a while at some height, and now and then jumps."""
    out: list[float] = []
    while len(out) < count:
        out += [chance.choice((7.0, 7.0, 5.1, 4.9, 4.0, 3.4, 3.5, 9.0, 9.2, 12.5)) for _ in range(1)] * chance.choice(
            (1, 1, 2, 3, 8, 30)
        )
    return [value + chance.choice((0.0, 0.0, 0.01, -0.01)) for value in out[:count]]


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 2**32), st.sampled_from(CARES), st.sampled_from((Side.LOW, Side.HIGH, None)), st.integers(1, 4))
def test_runs_end_as_steps_do(seed: int, care: CareRange, side: Side | None, parts: int) -> None:
    """Whole, and cut into pieces."""
    chance = Random(seed)
    values = walk(chance, chance.choice((1, 5, 60, 200)))
    times_ms = np.cumsum([chance.choice((1000, 30_000, 60_000)) for _ in values])
    flags = [chance.choice((Flag.GOOD, Flag.GOOD, Flag.NOT_EVALUATED, Flag.SUSPECT)) for _ in values]
    delays = Delays(chance.choice((0.0, 60.0, 300.0)), 30.0, chance.choice((0.0, 120.0)))
    readings = [
        CheckedReading("p1", Quantity.OXYGEN, int(t), v, "mg/L", v, f, f"reason {i}" if f is Flag.SUSPECT else "")
        for i, (t, v, f) in enumerate(zip(times_ms, values, flags, strict=True))
    ]
    track, events = Track(SUBJECT), list[AlertEvent]()
    for one in readings:
        track, happened = step(track, sample(one, side, assess(one.value, care), care, late=True), delays)
        events += happened
    mine, found = Track(SUBJECT), list[AlertEvent]()
    for piece in np.array_split(np.arange(len(values)), parts):
        if len(piece):
            mine, happened_too = run(mine, _samples(readings, piece, side, care), delays)
            found += happened_too
    assert found == events
    assert mine == track or (mine.idle and track.idle)


def _samples(readings: list[CheckedReading], piece: np.ndarray, side: Side | None, care: CareRange) -> Samples:
    some = [readings[place] for place in piece]
    values = np.array([one.value for one in some], np.float64)
    plain = np.array([one.flag < Flag.SUSPECT for one in some])
    levels, sides, limits = looks(values, care)
    mine = sides == (-1 if side is Side.LOW else 1) if side is not None else sides != 0
    return Samples(
        np.array([one.time_ms for one in some], np.int64),
        np.where(mine, levels, INSIDE).astype(np.int8),
        values,
        np.where(mine, limits, np.nan),
        plain & back_inside(values, side, care),
        lambda place: some[place].reason,
    )


@pytest.mark.parametrize("care", CARES)
def test_looks_are_what_assess_finds(care: CareRange) -> None:
    """On every limit and on both sides of it; limits belong inside."""
    limits = [one for one in (3.5, 5.0, 6.0, 8.0, 9.0, 12.0)]
    values = np.array([part for one in limits for part in (np.nextafter(one, 0), one, np.nextafter(one, 99))])
    levels, sides, found = looks(values, care)
    for place, value in enumerate(values.tolist()):
        told = assess(value, care)
        assert LEVEL_OF[levels[place]] == {"danger": "urgent", "outside": "today"}.get(told.band)
        if levels[place] != INSIDE:
            assert ({-1: "low", 1: "high"}[int(sides[place])], float(found[place])) == (told.side, told.limit)
