"""Recorded readings column by column against the same readings sent late one by one: nothing may differ.

Both rooms first hear the same live readings. Then one is sent the recording through the line, pack by pack, and goes
over it again; the other takes it as columns, block by block.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from random import Random

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from api.intake.block import Series
from tests.api.test_line_same import (
    CALIBRATIONS,
    CHANNELS,
    KINDS,
    ROOM,
    Case,
    calibration,
    kept,
    opened,
    settle,
)
from tests.support.rooms import NOW_MS, TestRoom, room

Q = Quantity
HOUR_MS, MINUTE_MS = 3_600_000, 60_000
CARE = """
[[care]]
name = "river"
[care.temperature]
tolerable_low = 22.0
tolerable_high = 26.0
danger_low = 20.0
danger_high = 27.0
deadband = 0.2
on_delay_s = 120
danger_on_delay_s = 60
off_delay_s = 120
[care.oxygen]
tolerable_low = 5.0
tolerable_high = 9.0
danger_low = 3.5
danger_high = 12.0
deadband = 0.1
on_delay_s = 120
danger_on_delay_s = 60
off_delay_s = 120
"""


def columns(readings: Iterable[RawReading]) -> list[Series]:
    """Readings as a file's block has them."""
    parts: dict[tuple[str, Quantity, str], list[tuple[int, RawReading]]] = {}
    for line, one in enumerate(readings, 2):
        parts.setdefault((one.probe, one.quantity, one.unit), []).append((line, one))
    return [
        Series(
            *key,
            np.array([line for line, _ in rows], np.int64),
            np.array([one.time_ms for _, one in rows], np.int64),
            np.array([one.value for _, one in rows], np.float64),
        )
        for key, rows in parts.items()
    ]


def import_all(lab: TestRoom, readings: Sequence[RawReading], size: int) -> tuple[int, int]:
    """Block by block; accepted and duplicates."""
    accepted = duplicate = 0
    for start in range(0, len(readings), size):
        done = lab.service.importing.keep.take(columns(readings[start : start + size]), lab.now_ms)
        accepted, duplicate = accepted + done.accepted, duplicate + done.duplicate
        assert (done.refused, done.conflicts) == ((), ())
    lab.service.importing.keep.finish()
    return accepted, duplicate


def alerts(lab: TestRoom) -> list[tuple[object, ...]]:
    """Everything told, but for the words."""
    rows = lab.service.store.state.alerts(None, 10_000)
    return sorted(
        (a.subject, a.since_ms - NOW_MS, a.raised_ms - NOW_MS, a.ended_ms and a.ended_ms - NOW_MS, a.found_late,
         a.priority, *(part if part is None else round(part, 9) for part in (a.value, a.worst, a.limit_value)), a.state)
        for a in rows
    )  # fmt: skip


def near(part: object) -> object:
    """Sums of the same numbers in another order, and NumPy's functions beside Python's, differ in the last bit."""
    return pytest.approx(part, rel=1e-9) if isinstance(part, float) else part


@dataclass(frozen=True)
class Night:
    """A recording, what of it was heard live, and how it is cut."""

    case: Case
    live: str
    block: int


NIGHTS = st.builds(
    Night,
    st.builds(
        Case,
        st.tuples(*[st.lists(st.sampled_from(KINDS), max_size=6).map(tuple) for _ in CHANNELS]),
        st.just(0),
        st.just(20),
        st.just(()),
        st.integers(0, 2**32),
    ),
    st.sampled_from(("after", "before and after", "between", "here and there")),
    st.sampled_from((7, 60, 300, 5000)),
)


def parted(night: Night) -> tuple[list[RawReading], list[RawReading]]:
    """What is heard live, and what is recorded; every channel speaks live at last, or nothing would come late."""
    chance, whole = Random(night.case.chance), night.case.whole()
    last = [RawReading(one.probe, one.quantity, NOW_MS - 1000, one.usual, one.unit) for one in CHANNELS]
    start_ms, end_ms = (whole[0].time_ms, whole[-1].time_ms) if whole else (0, 0)
    first_ms, second_ms = sorted(chance.randint(start_ms, end_ms) for _ in range(2))

    def heard(one: RawReading) -> bool:
        if night.live == "before and after":
            return not first_ms <= one.time_ms <= second_ms
        if night.live == "between":
            return first_ms <= one.time_ms <= second_ms
        return night.live == "here and there" and chance.random() < 0.3

    live = [one for one in whole if heard(one)]
    taken = set(map(id, live))
    recorded = [one for one in whole if id(one) not in taken and one.time_ms < NOW_MS - 900_000]
    return live + last, recorded


def night(seed: int, live: str, block: int, *kinds: str) -> Night:
    """One that once ended otherwise."""
    return Night(Case(tuple(tuple(one.split()) for one in kinds), 0, 20, (), seed), live, block)


@settings(deadline=None, max_examples=8)
@given(NIGHTS)
@example(
    night(
        1033,
        "between",
        7,
        "odd impossible unit restless restless",
        "odd restless ramp ramp stuck",
        "stuck restless stuck ramp restless stuck",
        "ramp restless unit",
        "unit restless ramp gap",
    )
)
@example(
    night(
        336,
        "after",
        60,
        "",
        "silent odd stuck silent gap stuck",
        "unit restless unit silent gap restless",
        "ramp restless unit ramp impossible stuck",
        "gap gap odd impossible silent",
    )
)
def test_columns_and_late_readings_end_the_same(case: Night) -> None:
    """Values, flags, reasons, derived values, summaries, newest readings and alerts."""
    live, recorded = parted(case)
    text = ROOM.replace('id = "t1"', 'id = "t1"\ncare = "river"', 1) + CARE
    with tempfile.TemporaryDirectory() as folder:
        with room(opened(Path(folder) / "late"), text) as late, room(opened(Path(folder) / "file"), text) as file:
            entered = Random(case.case.chance).sample(range(len(CALIBRATIONS)), 2)
            for lab in (late, file):
                for number in entered:
                    lab.service.calibrations.enter(calibration(number, NOW_MS - 4 * HOUR_MS), lab.now_ms).result()
                lab.take(*live)
                settle(lab)
            for start in range(0, len(recorded), 20):
                late.take(*recorded[start : start + 20])
            settle(late)
            assert import_all(file, recorded, case.block) == (len(recorded), 0)
            settle(file)
            found, wanted = kept(file), kept(late)
            assert found.keys() == wanted.keys()
            for name, rows in wanted.items():
                assert len(found[name]) == len(rows), name
                for one, other in zip(found[name], rows, strict=True):
                    assert list(one) == [near(part) for part in other], name
            assert alerts(file) == alerts(late)
            before = kept(file)
            assert import_all(file, recorded, case.block) == (0, len(recorded))
            assert kept(file) == before
