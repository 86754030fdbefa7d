"""A collector that starts on a disk without a free byte; for both processes see tests/test_disk_full.py."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.errors import SpoolTrouble
from collector.held import Held
from collector.spool import NAME, Spool
from tests.collector.conftest import readings
from tests.support.made_up_computer import Computer
from tests.support.small_disk import SmallDisk, may_mount

pytestmark = pytest.mark.skipif(not may_mount(), reason="only root may mount the small disk this is tried on")


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[SmallDisk]:
    """Twenty megabytes for the data folder."""
    with SmallDisk(tmp_path / "data", 20) as mounted:
        yield mounted


def test_a_collector_that_starts_on_a_full_disk_reads_all_the_same(disk: SmallDisk) -> None:
    """There is no room for a spool at all; with the first space it is made, and has everything, dated or not."""
    disk.fill()
    spool = Spool(disk.folder / NAME, gather_s=0.0)
    computer = Computer(1_000)
    held = Held(spool, computer.hands())
    stamper = held.stamper("p1")
    (pattern,) = readings(1)
    undated = [type(pattern)("p1", pattern.quantity, stamper.stamp(0), float(n), "Cel") for n in range(3)]
    assert held.keep(undated, []) is False
    assert spool.keep(readings(5)) is False
    with pytest.raises(SpoolTrouble, match="full"):
        held.settle()
    disk.empty()
    computer.time_server()
    computer.error_ms = 1_800_000_000_000 - computer.true_ms
    held.settle()
    assert spool.keep(readings(1, 5)) is True
    rows = [reading for _, reading in spool.take(100).rows]
    assert [reading for reading in rows if reading in readings(6)] == readings(6)
    assert [reading.value for reading in rows if reading not in readings(6)] == [0.0, 1.0, 2.0]
    spool.close()
