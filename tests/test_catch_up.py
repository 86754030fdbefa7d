"""A short backlog drains while new readings come: everything arrives once, and the new is not kept waiting."""

from __future__ import annotations

import pytest

from tests.bench.catch_up import catch_up

HOURS, PROBES, EVERY_S = 0.5, 20, 10.0


@pytest.mark.parametrize("way", ["http", "mqtt"])
def test_a_backlog_drains_beside_new_readings(way: str) -> None:
    """Correctness only: figures are the bench's matter."""
    found = catch_up(way, PROBES, EVERY_S, HOURS)
    assert found.backlog == HOURS * 3600 / EVERY_S * PROBES * 2
    assert found.live > 0
    assert len(found.waits_s) == found.live / 2
    assert (found.stored, found.duplicate, found.refused) == (found.backlog + found.live, 0, 0)
