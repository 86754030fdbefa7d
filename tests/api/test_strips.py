"""Night strips: what is hatched and what is not when a tank gets a second probe, or its probe falls silent."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.domain.band import Band
from api.domain.quantity import Quantity
from api.domain.reading import RawReading
from tests.support.rooms import TestRoom, room

HOUR_MS, CELL_MS = 3_600_000, 300_000


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[TestRoom]:
    """t1's probe has spoken for an hour; t2's never."""
    with room(tmp_path) as one:
        for _ in range(60):
            one.minute(7.0)
        yield one


def known(lab: TestRoom, tank: str) -> int:
    """Cells of the last 24 hours that are not hatched."""
    found = next(now for now in lab.service.read.room(lab.now_ms).tanks if now.tank.id == tank)
    assert len(found.strip) == 288
    return sum(cell.band is not Band.UNKNOWN for cell in found.strip)


def test_a_second_probe_does_not_hatch_what_the_first_one_saw(lab: TestRoom) -> None:
    """It counts from its first reading on; from then on its silence is not known, as for any probe."""
    before = known(lab, "t1")
    assert before in (12, 13)
    for _ in range(3):
        lab.now_ms += 30_000
        lab.take(RawReading("spare-7", Quantity.TEMPERATURE, lab.now_ms, 25.0, "Cel"))
    lab.service.records.claim("spare-7", "t1", lab.now_ms)
    assert known(lab, "t1") >= before
    for _ in range(30):
        lab.minute(7.0)
    assert before <= known(lab, "t1") <= before + 1


def test_a_probe_that_was_heard_before_counts_all_the_time(lab: TestRoom) -> None:
    """A day of silence and one reading: what lies between is hatched; a probe never heard hatches everything."""
    assert known(lab, "t2") == 0
    lab.now_ms += 26 * HOUR_MS
    lab.minute(7.0)
    assert known(lab, "t1") == 1
